/* Takes systems along: asks the server for them, keeps them whole, and drops them when they are no longer to be had. */

import { Left, Requests } from "./requests.js";

export class TakeAlong {
  constructor(app, { fetch = (...given) => globalThis.fetch(...given) } = {}) {
    this.app = app;
    this.requests = new Requests({ fetch });
  }

  /** Take these systems of a project along, in place of what was there; answers the bundle. */
  async take(code, ids) {
    const query = ids.map((id) => `system=${encodeURIComponent(id)}`).join("&");
    try {
      const bundle = await this.requests.get(code, `take-along/?${query}`);
      const kept = { ...bundle, kept_at: new Date().toISOString(), ids: bundle.systems.map((system) => system.id) };
      await this.app.store.keepBundle(code, kept);
      await this.app.store.keepNote("person", bundle.person);
      this.app.outbox.person = bundle.person;
      navigator.storage?.persist?.().catch(() => false);
      return kept;
    } catch (error) {
      if (error instanceof Left) await this.left(code, error);
      throw error;
    }
  }

  /** One system anew, the others as they are; one that is not to be seen any more goes. */
  async renew(code, id) {
    const asked = new Date().toISOString(); // what arrives from here on may be missing in the answer
    const fresh = await this.requests.get(code, `take-along/?system=${encodeURIComponent(id)}`);
    await this.app.store.renewSystem(code, id, fresh, asked);
  }

  /** The person is not in the project any more: what was taken along goes, what was recorded stays for them to see. */
  async left(code, error) {
    await this.app.store.dropBundle(code);
    await this.app.outbox.hold(code, `${error.message} It was not sent: show it to a manager of the project, or drop it.`);
  }

  /** The systems that can be taken along, by site and tag. */
  async choices(code) {
    const found = [];
    let path = "systems/?page_size=500";
    while (path) {
      const page = await this.requests.get(code, path);
      found.push(...page.results);
      path = page.next ? `systems/${new URL(page.next).search}` : "";
    }
    return found.sort((a, b) => a.site_code.localeCompare(b.site_code) || a.tag.localeCompare(b.tag));
  }
}
