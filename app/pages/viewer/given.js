// The verdicts that this person gave last: shown with their pieces, each to be taken back.

const RECENT = 5; // shown

class LatestVerdicts {
  /** @param {Link} link */
  constructor(link) {
    this.link = link;
    /** @type {Given[]} */
    this.all = []; // oldest first
    this.choosing = false; // the next digit takes one back
  }

  clear() {
    this.all = [];
    this.choosing = false;
  }

  // those from before the page was opened
  async recall() {
    /** @type {{ given: Given[], labels?: number }} */
    const told = await this.link.call("mine", {}).catch(() => ({ given: [] }));
    const known = new Set(this.all.map((one) => one.uid));
    this.all = [...told.given.filter((one) => !known.has(one.uid)), ...this.all];
    return told;
  }

  // newest first
  shown() {
    return this.all.slice(-RECENT).reverse();
  }

  /**
   * Take one out; its piece's card, or null where the server, which has it, does not answer: then it stays.
   * @param {Given} one
   */
  async takeOut(one) {
    this.choosing = false;
    this.all = this.all.filter((other) => other !== one);
    if (one.card) return one.card;
    /** @type {Cards} */
    const told = await this.link.call("cards", { judgements: [one.judgement_id] }).catch(() => ({ cards: [] }));
    if (!told.cards.length) this.all.push(one);
    return told.cards[0] ?? null;
  }
}
