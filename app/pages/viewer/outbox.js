// What was said and the store does not have yet, kept in the browser: each under a name of its own, so that tabs and people
// that share the browser can't write over one another's.

/**
 * @template {{ uid: string }} Said
 * @typedef {{ inspector: string, at: number, name: string, said: Said, refused?: string }} Unsent
 */

/** @template {{ uid: string }} Said */
class Outbox {
  /** @param {string} names how the names begin under which they are kept */
  constructor(names) {
    this.names = names;
    /** @type {Map<string, Unsent<Said>>} */
    this.unkept = new Map(); // what the browser would not keep lives as long as the page
  }

  /** @returns {Unsent<Said>[]} of everybody at this browser, in the order given */
  all() {
    /** @type {Unsent<Said>[]} */
    const found = [...this.unkept.values()];
    try {
      for (const key of Object.keys(localStorage)) {
        if (!key.startsWith(this.names)) continue;
        const { verdict, ...one } = JSON.parse(localStorage.getItem(key) ?? ""); // pages of before named it so
        found.push({ said: verdict, ...one });
      }
    } catch {
      // A browser that keeps nothing has nothing.
    }
    return found.sort((one, other) => one.at - other.at);
  }

  /**
   * Those of one person that are still to be sent.
   * @param {string} inspector
   */
  of(inspector) {
    return this.all().filter((one) => one.inspector === inspector && one.refused === undefined).map((one) => one.said);
  }

  // those that the server could not take, with its words
  refused() {
    return this.all().filter((one) => one.refused !== undefined);
  }

  /**
   * How many of other people's wait here to be sent, by name.
   * @param {string} inspector
   */
  ofOthers(inspector) {
    /** @type {Record<string, number>} */
    const count = {};
    for (const one of this.all()) {
      if (one.inspector !== inspector && one.refused === undefined) count[one.inspector] = (count[one.inspector] ?? 0) + 1;
    }
    return count;
  }

  /**
   * @param {string} inspector
   * @param {string} name of what it is said of, for people
   * @param {Said} said
   */
  add(inspector, name, said) {
    const last = this.all().at(-1)?.at ?? 0;
    this.put({ inspector, name, said, at: Math.max(Date.now(), last + 1) });
  }

  /** @param {Unsent<Said>} one */
  put(one) {
    try {
      localStorage.setItem(this.names + one.said.uid, JSON.stringify(one));
    } catch {
      this.unkept.set(one.said.uid, one);
    }
  }

  /** @param {string} uid */
  remove(uid) {
    this.unkept.delete(uid);
    try {
      localStorage.removeItem(this.names + uid);
    } catch {
      // It never was there.
    }
  }

  /**
   * The server will never take it: it is not sent again, and stays until somebody has read why.
   * @param {string} uid
   * @param {string} words
   */
  refuse(uid, words) {
    const one = this.all().find((other) => other.said.uid === uid);
    if (one) this.put({ ...one, refused: words });
  }

  // whether all of it outlives this page
  isKept() {
    return this.unkept.size === 0;
  }
}
