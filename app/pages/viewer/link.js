// The line to the server: calls that are tried again, and the outbox, which empties only when the store has a verdict.

function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

/**
 * What the browser keeps under a name.
 * @template T
 * @param {string} name
 * @param {T} fallback
 * @returns {T}
 */
function kept(name, fallback) {
  try {
    return JSON.parse(localStorage.getItem(name) ?? "null") ?? fallback;
  } catch {
    return fallback;
  }
}

/**
 * @param {string} name
 * @param {unknown} value
 */
function keep(name, value) {
  try {
    localStorage.setItem(name, JSON.stringify(value));
  } catch {
    // Without storage the outbox lives as long as the page does; the warning before leaving still holds.
  }
}

// One browser keeps one name, so that its pieces come back to it; a second tab takes a name of its own.
async function holderName() {
  const name = kept("brightbowl.holder", "") || newId();
  keep("brightbowl.holder", name);
  if (!navigator.locks) return `${name}.${newId()}`;
  const first = await new Promise((/** @type {(first: boolean) => void} */ answer) => {
    navigator.locks.request("brightbowl.holder", { ifAvailable: true }, (lock) => {
      answer(lock !== null);
      return lock === null ? undefined : new Promise(() => {});
    });
  });
  return first ? name : `${name}.${newId()}`;
}

/**
 * A verdict as the store takes it: on which judgement, in which turn of a blind round.
 * @param {Card} card
 * @param {string} verdict
 * @param {{ defects?: string[], note?: string, takes_back?: string, seen?: string | null }} more
 * @returns {NewVerdict}
 */
function newVerdict(card, verdict, more) {
  const { piece_id, judgement_id } = card;
  const said = { uid: newId(), piece_id, judgement_id, verdict, defects: [], note: "", given_at: new Date().toISOString() };
  return { ...said, ...(card.blind ? { blind_id: card.blind_id, turn: card.turn } : {}), ...more };
}

// An answer that says no, with its status.
class Refused extends Error {}

class Link {
  /** @param {() => void} changed called when the outbox or its trouble changed */
  constructor(changed) {
    this.changed = changed;
    this.pass = "";
    this.holder = "";
    this.inspector = "";
    /** @type {Record<string, string | null>} */
    this.wanted = {};
    /** @type {(told: Received) => void} */
    this.received = () => {};
    /** @type {NewVerdict[]} */
    this.outbox = [];
    this.sending = false;
    this.trouble = "";
    this.delayMs = 0;
  }

  // The page writes a new pass on each run; the outbox belongs to the person whose pass it is.
  /**
   * @param {string} pass
   * @param {string} inspector
   */
  take(pass, inspector) {
    this.pass = pass;
    if (this.inspector !== inspector) {
      this.inspector = inspector;
      this.outbox = kept(`brightbowl.outbox.${inspector}`, /** @type {NewVerdict[]} */ ([]));
    }
    this.flush();
  }

  /**
   * What the server answers.
   * @param {string} path
   * @param {object} body
   */
  async call(path, body) {
    const sent = JSON.stringify({ pass: this.pass, holder: this.holder, ...body });
    const answer = await fetch(`/desk/${path}`, { method: "POST", body: sent, credentials: "same-origin" });
    const told = await answer.json();
    // Another server's passes are worth nothing here: the page is loaded anew to get one; the outbox outlives that.
    if (answer.status === 401 && this.isKept()) location.reload();
    if (!answer.ok) throw new Refused(told.error);
    return told;
  }

  isKept() {
    return kept(`brightbowl.outbox.${this.inspector}`, []).length === this.outbox.length;
  }

  /** @param {NewVerdict} verdict */
  post(verdict) {
    this.outbox.push(verdict);
    this.store();
    this.flush();
  }

  store() {
    keep(`brightbowl.outbox.${this.inspector}`, this.outbox);
    this.changed();
  }

  async flush() {
    if (this.sending || !this.outbox.length || !this.holder) return;
    this.sending = true;
    try {
      /** @type {Received} */
      const told = await this.call("verdicts", { verdicts: this.outbox, wanted: this.wanted });
      const had = new Set(told.receipts.map((one) => one.uid));
      this.outbox = this.outbox.filter((one) => !had.has(one.uid));
      this.trouble = "";
      this.delayMs = 0;
      this.store();
      this.received(told);
    } catch (fault) {
      this.trouble = fault instanceof Refused ? fault.message : "the server does not answer; trying again";
      this.delayMs = Math.min(5000, (this.delayMs || 250) * 2);
      setTimeout(() => this.flush(), this.delayMs);
      this.changed();
    }
    this.sending = false;
    if (this.outbox.length && !this.trouble) this.flush();
  }
}
