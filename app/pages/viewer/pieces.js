// The pieces that wait at this screen: asked for ahead, held while their pictures come, given up when another has them.

const AHEAD = 14; // pieces held beyond the one shown: more than anybody judges while the server is slow
const FIRST = 2; // asked for when nothing is shown: the rest comes while the first is looked at
const TOP_UP = 10; // fewer than this, and more are asked for
const AGAIN_MS = 1500;
const PACE_MIN = 10; // the server counts verdicts of this long (PACE_MINUTES of routes.py)

/**
 * A span of time as people say it: minutes, from an hour and a half on hours.
 * @param {number} minutes
 */
function spanWords(minutes) {
  if (minutes < 90) return `${Math.ceil(minutes)} min`;
  const hours = minutes / 60;
  return `${hours < 10 ? hours.toFixed(1) : Math.round(hours)} h`;
}

/**
 * How far the person is, in words.
 * @param {string} mode
 * @param {Progress} progress
 */
function progressWords(mode, { left, pace, whole }) {
  if (mode === "one") return "one piece, by its link";
  if (left === undefined) return "";
  if (mode === "blind") return whole === undefined ? "" : `${whole - left} of ${whole} seen`;
  return `${left} left${pace && left ? `, ${pace} in the last ${PACE_MIN} min, about ${spanWords((left / pace) * PACE_MIN)} to go` : ""}`;
}

/**
 * Who has all that waits; empty where some of it is free.
 * @param {Progress} progress
 * @param {string} inspector
 */
function inHandWords({ left = 0, in_hand = {} }, inspector) {
  const lent = Object.values(in_hand).reduce((sum, count) => sum + count, 0);
  if (!lent || lent < left) return "";
  const names = Object.keys(in_hand).map((name) => (name === inspector ? "yourself in another window" : name));
  return `${left} wait, all in hand of ${names.join(" and ")}.`;
}

class Pieces {
  /**
   * @param {Link} link
   * @param {{ came: () => void, none: (words: string, offer?: string) => void }} tell pieces came, or there is none to
   *   show and why, and what can be done about it
   */
  constructor(link, tell) {
    this.link = link;
    this.tell = tell;
    /** @type {PageData | null} */
    this.data = null;
    this.asked = ""; // what the pieces held were asked for by
    /** @type {Card | null} */
    this.current = null; // the one shown
    /** @type {Card[]} */
    this.queue = [];
    /** @type {Card[]} */
    this.later = []; // put off: they come again at the end
    /** @type {Progress} */
    this.progress = {};
    /** @type {string | null | undefined} */
    this.heldBy = null; // who else has the one piece of a link open
    this.filling = false;
    this.stalled = false; // the last call for pieces failed
    this.takingOver = false; // the next call takes pieces from whoever has them
    /** @type {LookCard[]} */
    this.lookedAt = []; // of pieces that were only looked at: labels may still be on their way
    this.ended = false; // the page shows something else: no piece is asked for or kept any more
  }

  /**
   * Take what the page says; whether it asks for other pieces than before, whose first are then still to be fetched.
   * @param {PageData} data
   */
  take(data) {
    this.data = data;
    const asked = JSON.stringify([data.mode, data.wanted, data.one, data.blind, data.inspector]);
    if (asked === this.asked) return false;
    this.asked = asked;
    this.current = null;
    this.queue = [];
    this.later = [];
    this.lookedAt = [];
    return true;
  }

  // ask for pieces until enough are held; a server that does not answer is asked again
  async fill() {
    if (this.filling || !this.data || this.ended) return;
    this.filling = true;
    this.stalled = false;
    const asked = this.asked;
    let more = false;
    try {
      const told = await this.ask(this.data);
      if (asked === this.asked) more = this.arrived(this.data, told);
    } catch (fault) {
      this.stalled = true;
      this.tell.none(fault instanceof Refused ? fault.message : "The server does not answer; trying again.");
      setTimeout(() => this.stalled && this.fill(), AGAIN_MS);
    }
    this.filling = false;
    if (more || asked !== this.asked) this.fill();
  }

  /**
   * @param {PageData} data
   * @returns {Promise<Cards>}
   */
  ask({ mode, wanted, one, blind }) {
    if (mode === "one") return this.link.call("one", one ?? {});
    const held = [...this.queue, ...(this.current ? [this.current] : [])];
    const unsent = this.link.verdicts.unsent.filter((verdict) => verdict.verdict !== "withdrawn");
    const count = this.current ? AHEAD - this.queue.length : FIRST;
    if (mode === "looks") {
      const have = [...this.lookedAt, ...held].map((card) => card.judgement_id);
      return this.link.call("looks", { blind: blind ?? null, have, count });
    }
    if (mode === "blind") {
      const turns = held.flatMap((card) => ("turn" in card ? [{ piece_id: card.piece_id, turn: card.turn }] : []));
      const have = [...turns, ...unsent].map((known) => [known.piece_id, known.turn]);
      return this.link.call("blind", { blind, have, count });
    }
    const have = [...held, ...this.later, ...unsent].map((known) => known.piece_id);
    return this.link.call("next", { wanted, have, count, take_over: this.takingOver });
  }

  /**
   * Take in what came; whether more is to be asked for.
   * @param {PageData} data
   * @param {Cards} told
   */
  arrived(data, told) {
    this.takingOver = false;
    if (told.left !== undefined) this.progress = told;
    if (data.mode === "one" && this.current) return false;
    this.heldBy = told.held_by;
    this.queue.push(...told.cards);
    if (!this.queue.length && !this.current) {
      if (this.later.length) {
        this.later = [];
        return true;
      }
      const inHand = data.mode === "queue" ? inHandWords(told, data.inspector) : "";
      const ended = data.mode === "blind" ? "how the round stands" : "";
      this.tell.none(inHand || data.empty[data.mode], inHand ? "take over" : ended);
    }
    this.tell.came();
    return data.mode !== "one" && told.cards.length > 0 && this.queue.length < TOP_UP;
  }

  next() {
    this.current = this.queue.shift() ?? null;
    if (this.data?.mode !== "one" && this.queue.length < TOP_UP) this.fill();
  }

  // the piece shown comes again at the end; whether there was one to put off
  putOff() {
    if (!this.current || this.data?.mode !== "queue") return false;
    this.later.push(this.current);
    return true;
  }

  /** @param {Card} card comes next, and then the one shown */
  putBefore(card) {
    if (this.current) this.queue.unshift(this.current);
    this.queue.unshift(card);
  }

  // how many wait now; where none is shown and some are free by now, or others have them, that is found out
  async count() {
    if (this.data?.mode !== "queue" || this.filling) return;
    const before = JSON.stringify(this.progress.in_hand);
    /** @type {Progress} */
    const told = await this.link.call("count", { wanted: this.data.wanted });
    this.progress = told;
    if (this.current || this.queue.length) return;
    if ((told.left && !inHandWords(told, this.data.inspector)) || JSON.stringify(told.in_hand) !== before) this.fill();
  }

  takeOver() {
    this.takingOver = true;
    return this.fill();
  }

  // keep what is held for this person; who has the piece shown meanwhile, where it went to another
  async renew() {
    if (this.ended) return null;
    if (this.data?.mode !== "queue" || !this.current) {
      if (!this.stalled && !this.current) this.fill();
      return null;
    }
    const shown = this.current;
    const pieces = [shown, ...this.queue].map((card) => card.piece_id);
    /** @type {Renewed} */
    const told = await this.link.call("renew", { pieces, wanted: this.data.wanted });
    this.progress = told;
    this.queue = this.queue.filter((card) => !told.gone_to[card.piece_id]);
    return (shown === this.current && told.gone_to[shown.piece_id]) || null;
  }
}
