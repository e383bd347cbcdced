// The line to the server: calls, and what is said at this browser.

function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

const LOCK_WAIT_MS = 400;

/** @param {string} name what this tab alone keeps, while it lives */
function held(name) {
  try {
    return sessionStorage.getItem(name) ?? "";
  } catch {
    return "";
  }
}

/**
 * @param {string} name
 * @param {string} value
 */
function hold(name, value) {
  try {
    sessionStorage.setItem(name, value);
  } catch {
    // Then the tab has a new name each time that it is loaded.
  }
}

// A tab keeps its name when it is loaded anew, so that its pieces come back to it. A tab that was doubled holds the same
// name as the first, which the lock tells: it takes another. Closing the page, or `give`, lets go of the lock.
/** @returns {Promise<{ name: string, give: () => void }>} */
async function holderName() {
  const own = held("brightbowl.tab") || newId();
  for (const name of [own, newId()]) {
    const give = await locked(`brightbowl.tab.${name}`);
    if (!give) continue;
    hold("brightbowl.tab", name);
    return { name, give };
  }
  return { name: newId(), give: () => {} };
}

/**
 * Take a lock; how to give it back, or null where another tab keeps it. The page that a tab shows next may ask before the
 * one before has let go.
 * @param {string} name
 * @returns {Promise<(() => void) | null>}
 */
function locked(name) {
  if (!navigator.locks) return Promise.resolve(() => {});
  return new Promise((answer) => {
    navigator.locks
      .request(name, { signal: AbortSignal.timeout(LOCK_WAIT_MS) }, () => new Promise((/** @type {(_: void) => void} */ give) => answer(give)))
      .catch(() => answer(null));
  });
}

/**
 * Text as it can be sent: half a sign, as a box that is full may cut one, is no text.
 * @param {string} text
 */
function wellFormed(text) {
  return text.replace(/\p{Surrogate}/gu, "\uFFFD");
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
  return { ...said, ...("turn" in card ? { blind_id: card.blind_id, turn: card.turn } : {}), ...more };
}

// An answer that says no.
class Refused extends Error {
  /**
   * @param {string} words
   * @param {number} status
   */
  constructor(words, status) {
    super(words);
    this.status = status;
  }
}

class Link {
  /** @param {() => void} changed called when an outbox or its trouble changed */
  constructor(changed) {
    this.changed = changed;
    this.pass = "";
    this.holder = "";
    this.inspector = "";
    /** @type {Record<string, string | null>} */
    this.wanted = {};
    /** @type {Sender<NewVerdict>} */
    this.verdicts = new Sender(this, "verdicts", new Outbox("brightbowl.unsent."), () => ({ wanted: this.wanted }));
    /** @type {Sender<NewLabel>} */
    this.labels = new Sender(this, "labels", new Outbox("brightbowl.labels."), () => ({}));
    this.senders = [this.verdicts, this.labels];
    /** @type {Set<Promise<unknown>>} */
    this.underWay = new Set();
  }

  // The page writes a new pass on each run; only what the person said whose pass it is can be sent.
  /**
   * @param {string} pass
   * @param {string} inspector
   */
  take(pass, inspector) {
    this.pass = pass;
    this.inspector = inspector;
    this.flush();
  }

  flush() {
    for (const one of this.senders) one.flush();
  }

  // how many of this person's wait to be sent
  get waiting() {
    return this.senders.reduce((sum, one) => sum + one.unsent.length, 0);
  }

  get trouble() {
    return this.verdicts.trouble || this.labels.trouble;
  }

  // whether all that was said outlives this page
  isKept() {
    return this.senders.every((one) => one.outbox.isKept());
  }

  // the server answers: what is not tried again is no trouble any more
  answers() {
    for (const one of this.senders) if (!one.unsent.length) one.trouble = "";
  }

  away() {
    this.verdicts.trouble ||= AWAY;
    this.flush();
  }

  /**
   * What the server answers.
   * @param {string} path
   * @param {object} body
   */
  call(path, body) {
    const answer = this.ask(path, body);
    const ended = answer.catch(() => {}).finally(() => this.underWay.delete(ended));
    this.underWay.add(ended);
    return answer;
  }

  // once all that was asked by now is answered or has failed
  quiet() {
    return Promise.all(this.underWay);
  }

  /**
   * @param {string} path
   * @param {object} body
   */
  async ask(path, body) {
    const sent = JSON.stringify({ pass: this.pass, holder: this.holder, ...body });
    const answer = await fetch(`/desk/${path}`, { method: "POST", body: sent, credentials: "same-origin" });
    const told = await answer.json().catch(() => ({ error: `the server answers ${answer.status}` }));
    // Another server's passes are worth nothing here: the page is loaded anew to get one; the outbox outlives that.
    if (answer.status === 401 && this.isKept()) location.reload();
    if (!answer.ok) throw new Refused(told.error, answer.status);
    return told;
  }
}
