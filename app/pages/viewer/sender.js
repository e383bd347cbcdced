// What is said on its way to the store: verdicts, or labels of findings. It leaves the outbox only when the store has it.

const AT_ONCE = 50; // in one call: with the longest notes well under what the server takes
const AWAY = "the server does not answer; trying again";

/** @template {{ uid: string }} Said */
class Sender {
  /**
   * @param {Link} link
   * @param {string} what is sent: the call's name, and of the list in it
   * @param {Outbox<Said>} outbox
   * @param {() => object} more else what the call holds
   */
  constructor(link, what, outbox, more) {
    this.link = link;
    this.what = what;
    this.outbox = outbox;
    this.more = more;
    /** @type {(told: Received) => void} */
    this.received = () => {};
    this.sending = false;
    this.trouble = "";
    this.delayMs = 0;
  }

  // what this person said that is still to be sent, from whichever tab
  get unsent() {
    return this.outbox.of(this.link.inspector);
  }

  /**
   * @param {Said} said
   * @param {string} name of what it is said of, for people
   */
  post(said, name) {
    this.outbox.add(this.link.inspector, name, said);
    this.link.changed();
    this.flush();
  }

  async flush() {
    if (this.sending || !this.link.holder || !this.unsent.length) return;
    this.sending = true;
    /** @type {Set<string>} */
    const putAside = new Set(); // the server failed on these alone: the others go first
    this.trouble = "";
    try {
      await this.sendAll(putAside);
      this.delayMs = 0;
    } catch (fault) {
      this.trouble = fault instanceof Refused ? fault.message : AWAY;
    }
    if (putAside.size) this.trouble ||= "the server failed on it; trying again";
    if (this.trouble) {
      this.delayMs = Math.min(5000, (this.delayMs || 250) * 2);
      setTimeout(() => this.flush(), this.delayMs);
    }
    this.sending = false;
    this.link.changed();
  }

  /**
   * Send in the order given, many at once; where a call can't be taken, ever fewer, until the one that it fails on stands
   * alone.
   * @param {Set<string>} putAside
   */
  async sendAll(putAside) {
    let atOnce = AT_ONCE;
    for (;;) {
      const some = this.unsent.filter((one) => !putAside.has(one.uid)).slice(0, atOnce);
      if (!some.length) return;
      try {
        /** @type {Received} */
        const told = await this.link.call(this.what, { [this.what]: some, ...this.more() });
        for (const { uid } of some) if (!told.receipts.some((one) => one.uid === uid)) putAside.add(uid);
        for (const { uid, outcome, detail } of told.receipts) {
          if (outcome === "refused") this.outbox.refuse(uid, detail);
          else this.outbox.remove(uid);
        }
        atOnce = AT_ONCE;
        this.received(told);
        this.link.changed();
      } catch (fault) {
        if (!(fault instanceof Refused) || ![400, 413, 500].includes(fault.status)) throw fault;
        if (some.length > 1) atOnce = Math.ceil(some.length / 2);
        else if (fault.status === 500) putAside.add(some[0].uid);
        else this.outbox.refuse(some[0].uid, fault.message);
      }
    }
  }
}
