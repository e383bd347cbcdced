// The line to the server: calls that are tried again, and the outbox, which empties only when the store has a verdict.

function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

function kept(name, fallback) {
  try {
    return JSON.parse(localStorage.getItem(name)) ?? fallback;
  } catch {
    return fallback;
  }
}

function keep(name, value) {
  try {
    localStorage.setItem(name, JSON.stringify(value));
  } catch {
    // Without storage the outbox lives as long as the page does; the warning before leaving still holds.
  }
}

// One browser keeps one name, so that its pieces come back to it; a second tab takes a name of its own.
async function holderName() {
  const name = kept("brightbowl.holder", null) ?? newId();
  keep("brightbowl.holder", name);
  if (!navigator.locks) return `${name}.${newId()}`;
  const first = await new Promise((answer) => {
    navigator.locks.request("brightbowl.holder", { ifAvailable: true }, (lock) => {
      answer(lock !== null);
      return lock === null ? undefined : new Promise(() => {});
    });
  });
  return first ? name : `${name}.${newId()}`;
}

class Link {
  constructor(changed) {
    this.changed = changed;
    this.pass = null;
    this.holder = null;
    this.outbox = [];
    this.sending = false;
    this.trouble = "";
    this.delayMs = 0;
  }

  // The page writes a new pass on each run; the outbox belongs to the person whose pass it is.
  take(pass, inspector) {
    this.pass = pass;
    if (this.inspector !== inspector) {
      this.inspector = inspector;
      this.outbox = kept(`brightbowl.outbox.${inspector}`, []);
    }
    this.flush();
  }

  async call(path, body) {
    const sent = JSON.stringify({ pass: this.pass, holder: this.holder, ...body });
    const answer = await fetch(`/desk/${path}`, { method: "POST", body: sent, credentials: "same-origin" });
    const told = await answer.json();
    // Another server's passes are worth nothing here: the page is loaded anew to get one; the outbox outlives that.
    if (answer.status === 401 && this.isKept()) location.reload();
    if (!answer.ok) throw Object.assign(new Error(told.error), { status: answer.status });
    return told;
  }

  isKept() {
    return kept(`brightbowl.outbox.${this.inspector}`, []).length === this.outbox.length;
  }

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
      const told = await this.call("verdicts", { verdicts: this.outbox, wanted: this.wanted });
      const had = new Set(told.receipts.map((one) => one.uid));
      this.outbox = this.outbox.filter((one) => !had.has(one.uid));
      this.trouble = "";
      this.delayMs = 0;
      this.store();
      this.received(told);
    } catch (fault) {
      this.trouble = fault.status ? fault.message : "the server does not answer; trying again";
      this.delayMs = Math.min(5000, (this.delayMs || 250) * 2);
      setTimeout(() => this.flush(), this.delayMs);
      this.changed();
    }
    this.sending = false;
    if (this.outbox.length && !this.trouble) this.flush();
  }
}
