/* Sends the octets of a photo in chunks. The server says how far it got, so that a broken link costs one chunk. */

import { Unfit } from "./requests.js";

export const CHUNK = 256 * 1024;

/** The photo cannot be sent any more; the words say why. */
export class Damaged extends Error {}

export class Uploads {
  constructor({ requests, store, chunk = CHUNK }) {
    this.requests = requests;
    this.store = store;
    this.chunk = chunk;
    this.there = new Set(); // project and SHA-256 of what the server has, as long as this page lives
  }

  /** True when octets have to go before the entry can. */
  needs(item) {
    return item.files.some((sum) => !this.there.has(`${item.project} ${sum}`));
  }

  async send(project, item) {
    for (const sum of item.files) {
      const blob = await this.store.file(sum);
      if (!blob) throw new Damaged("The photo is not on this phone any more. Take it again, then drop this one.");
      await this.file(project, sum, blob);
      this.there.add(`${item.project} ${sum}`);
    }
  }

  async file(project, sum, blob) {
    const path = `outbox/files/${sum}/`;
    let { have = 0 } = await this.requests.get(project, path);
    let slips = 0;
    while (have < blob.size) {
      const chunk = blob.slice(have, have + this.chunk);
      try {
        ({ have } = await this.requests.put(project, `${path}?offset=${have}&size=${blob.size}`, chunk));
      } catch (error) {
        if (!(error instanceof Unfit)) throw error;
        // Another place than the server's (409), or octets that do not give this sum: go on from where it stands.
        if (++slips > 3) throw new Damaged(error.message);
        have = error.problem?.have ?? (await this.requests.get(project, path)).have ?? 0;
      }
    }
  }
}
