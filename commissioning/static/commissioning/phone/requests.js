/* What the phone asks the server, and what can go wrong on the way, as errors with a meaning.
 *
 * A cross-site token is asked for anew with each round: the page may be days old. Whatever does not speak as this server
 * does (a captive portal, a proxy's own page) counts as no signal, never as an answer. */

const PATIENCE = 30_000;

/** Nothing came back that this server could have said. */
export class NoSignal extends Error {
  constructor(words = "No signal. What was recorded is kept here and goes when the signal returns.", { busy = false } = {}) {
    super(words);
    this.busy = busy;
  }
}

/** The session has ended. */
export class SignIn extends Error {}

/** The person is no longer in this project. */
export class Left extends Error {}

/** The server cannot take this as it is; `problem` is what it said. */
export class Unfit extends Error {
  constructor(problem, status) {
    super(problem?.detail || "The server cannot read this entry.");
    this.problem = problem;
    this.status = status;
  }
}

export class Requests {
  constructor({ fetch, root = "", patience = PATIENCE }) {
    this.fetch = fetch;
    this.root = root;
    this.patience = patience;
    this.token = "";
  }

  /** Who is signed in: {id, name}; takes a fresh cross-site token along. */
  async person() {
    const answer = await this.ask("/phone/session/", {});
    this.token = answer.csrf;
    return answer.person;
  }

  get(project, path, headers = {}) {
    return this.ask(this.path(project, path), { headers });
  }

  /** The same, or null when nothing has changed since this number, which the server gives as its mark. */
  unless(project, path, number) {
    return this.get(project, path, number === null ? {} : { "If-None-Match": `"${number}"` });
  }

  post(project, path, body) {
    return this.change(this.path(project, path), { method: "POST", body: JSON.stringify(body), headers: { "Content-Type": "application/json" } });
  }

  put(project, path, octets) {
    return this.change(this.path(project, path), { method: "PUT", body: octets, headers: { "Content-Type": "application/octet-stream" } });
  }

  path(project, path) {
    return `/api/v1/projects/${encodeURIComponent(project)}/${path}`;
  }

  /** A request that writes: with the token, and once more with a fresh one when the server does not know it. */
  async change(path, given) {
    const withToken = () => this.ask(path, { ...given, headers: { ...given.headers, "X-CSRFToken": this.token } });
    if (!this.token) await this.person();
    try {
      return await withToken();
    } catch (error) {
      if (!(error instanceof StaleToken)) throw error;
      await this.person();
    }
    try {
      return await withToken();
    } catch (error) {
      if (error instanceof StaleToken) throw new NoSignal("The server does not trust this page. Open it anew.", { busy: true });
      throw error;
    }
  }

  async ask(path, given) {
    const { status, problem, body } = await this.answer(path, given);
    if (status < 300) return body;
    if (status === 304) return null;
    if (status === 401) throw new SignIn("Sign in to go on.");
    if (status === 403 && String(problem?.detail).includes("CSRF")) throw new StaleToken();
    if (status === 403 || status === 404) throw new Left(problem.detail || "You are not in this project any more.");
    if (status >= 500 || status === 429) throw new NoSignal("The server is busy; it is tried again in a moment.", { busy: true });
    throw new Unfit(problem, status);
  }

  /** Status and JSON of an answer that this server gave. */
  async answer(path, given) {
    const patience = new AbortController();
    const timer = setTimeout(() => patience.abort(), this.patience);
    try {
      const response = await this.fetch(this.root + path, {
        credentials: "same-origin", cache: "no-store", redirect: "manual", ...given,
        headers: { Accept: "application/json", ...given.headers }, signal: patience.signal,
      });
      if (response.status >= 500 || [304, 429].includes(response.status)) return { status: response.status };
      if (!/^application\/(problem\+)?json/.test(response.headers.get("Content-Type") ?? "")) throw new NoSignal();
      const body = await response.json();
      return { status: response.status, body, problem: body };
    } catch (error) {
      throw error instanceof NoSignal ? error : new NoSignal();
    } finally {
      clearTimeout(timer);
    }
  }
}

class StaleToken extends Error {}
