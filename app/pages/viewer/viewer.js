// The flow: which piece is shown, what a key does, what comes next. Streamlit runs the page anew now and then; this lives on.

const BEAT_MS = 15000;
const COUNT_MS = 1000; // what waits is told no older than this
const IDLE_MS = 250; // pictures of the pieces to come are asked for once this one is drawn, at the latest so long after

class Viewer {
  /** @param {Element} parent */
  constructor(parent) {
    this.root = inside(parent, ".desk");
    this.find = (/** @type {string} */ name) => inside(this.root, name);
    this.stage = new Stage(this.find(".stage"), this.find(".closeup"), () => this.refresh());
    this.panel = new Panel(this.root, this.stage);
    this.panel.choose = (index) => this.choose(index);
    this.panel.takeBack = (given) => this.takeBack(given);
    this.link = new Link(() => this.refresh());
    this.link.verdicts.received = (told) => this.received(told);
    this.labels = new Labels(this.link, this.panel, (words) => this.tell(words), (card) => this.lookedAt(card));
    this.link.labels.received = (told) => (this.labels.given = told.labels);
    this.pieces = new Pieces(this.link, { came: () => this.came(), none: (words, offer) => tellNothing(this, words, offer) });
    this.given = new LatestVerdicts(this.link);
    /** @type {Set<string> | null} */
    this.defects = null; // chosen so far; null while no reject is under way
    this.finished = () => {}; // the page is to show how the blind round stands
    this.settle = () => {}; // the page is to say again what is wanted
    this.dark = false;
    this.note = /** @type {HTMLInputElement} */ (this.find(".note input"));
    this.bright = /** @type {HTMLInputElement} */ (this.find(".bright input"));
    this.bright.addEventListener("input", () => this.stage.brighten(Math.exp(Number(this.bright.value))));
    this.onKey = (/** @type {KeyboardEvent} */ event) => press(this, event);
    window.addEventListener("keydown", this.onKey, true);
    document.addEventListener("visibilitychange", () => {
      if (!document.hidden) this.renew();
    });
    this.onLeave = () => this.leave();
    window.addEventListener("pagehide", this.onLeave);
    this.onStorage = () => this.refresh(); // another tab gave or sent verdicts
    window.addEventListener("storage", this.onStorage);
    window.addEventListener("beforeunload", (event) => {
      if (!this.link.isKept()) event.preventDefault();
    });
    for (const button of this.root.querySelectorAll("[data-key]")) {
      const name = button.getAttribute("data-key") ?? "";
      button.addEventListener("click", () => act(this, name, performance.now()));
    }
    this.beat = setInterval(() => this.renew(), BEAT_MS);
    this.counting = setInterval(() => this.count(), COUNT_MS);
    this.closing = closeDialogs();
    this.giveName = () => {};
    this.started = holderName().then(({ name, give }) => {
      this.link.holder = name;
      this.giveName = give;
    });
  }

  get card() {
    return this.pieces.current;
  }

  /** @param {PageData} data what the page says on each of its runs */
  async take(data) {
    // A server that was started anew says first what is wanted where nothing was chosen; a page that lives on knows better.
    const kept = data.ahead ? this.pieces.data?.wanted : undefined;
    if (kept && JSON.stringify(kept) !== JSON.stringify(data.wanted)) {
      data = { ...data, wanted: kept };
      this.settle();
    }
    this.panel.signs = data.signs;
    this.link.wanted = data.wanted;
    await this.started;
    this.link.take(data.pass, data.inspector);
    const before = this.pieces.asked;
    if (!this.pieces.take(data)) {
      if (this.pieces.stalled) this.pieces.fill();
      return;
    }
    this.given.clear();
    this.root.dataset.piece = "";
    // Of those that were wanted before, none is kept from others. As the page opens there are none: its last one gave them back.
    if (before) await this.link.call("release", {}).catch(() => {});
    await this.pieces.fill();
    if (data.mode === "queue" || data.mode === "one") {
      this.given.recall().then((told) => {
        this.labels.given = told.labels;
        this.refresh();
      });
    }
    // A choice made in the page leaves the keyboard to its box; the bench wants it back, unless more is being chosen.
    const popover = '[data-testid="stPopoverBody"]';
    if (!document.activeElement?.closest(popover)) this.root.focus({ preventScroll: true });
  }

  came() {
    for (const card of this.pieces.queue) this.stage.fetch(card);
    if (!this.card && this.pieces.queue.length) this.next();
    this.refresh();
  }

  next() {
    this.pieces.next();
    const { current, data } = this.pieces;
    this.defects = null;
    this.note.value = "";
    this.find(".empty-state").hidden = Boolean(current);
    this.root.classList.toggle("nothing", !current);
    if (current) {
      this.put(current);
    } else {
      this.root.dataset.piece = "";
      tellNothing(this, data?.mode === "one" ? data.empty.done : "Fetching the next piece");
    }
    this.refresh();
  }

  /** @param {Card} card */
  put(card) {
    const { heldBy, queue } = this.pieces;
    this.stage.show(card);
    this.panel.show(card, heldBy ? `${heldBy} has this piece open too; both verdicts will count.` : "");
    this.root.dataset.piece = card.blind ? `${card.number}` : `${card.tray}:${card.piece}`;
    this.stage.fetchAll(card);
    requestIdleCallback(() => queue.slice(0, 2).forEach((one) => this.stage.fetchAll(one)), { timeout: IDLE_MS });
    this.find(".announced").textContent = announcement(card);
  }

  /**
   * @param {"accept" | "reject"} said
   * @param {string[]} defects
   * @param {number} pressed when, in ms of the page's clock
   */
  verdict(said, defects, pressed) {
    const card = this.card;
    if (!card) return;
    if (!this.pieces.data?.may_review) {
      this.tell("You may look, but not judge.");
      return;
    }
    if ("look" in card) {
      this.tell(NOTHING_JUDGED);
      return;
    }
    if (!this.stage.stood(pressed)) {
      this.tell("This piece came only now: nothing was recorded. Look, then judge.");
      return;
    }
    const seen = card.blind ? {} : { seen: card.seen };
    const given = newVerdict(card, said, { defects, note: wellFormed(this.note.value.trim()), ...seen });
    this.link.verdicts.post(given, pieceName(card));
    this.given.all.push({ ...given, card });
    this.tell(`${pieceName(card)}: ${VERDICT_WORDS[said]}${defects.length ? ` (${defects.join(", ")})` : ""}`);
    this.next();
    tellSwitch(this.root, pressed);
  }

  /** @param {Given} [one] of the verdicts given here; the last where none is named */
  async takeBack(one = this.given.all.at(-1)) {
    if (this.pieces.data?.mode === "looks") {
      this.lookBack();
      return;
    }
    if (this.defects !== null) {
      this.tell(REJECT_BEGUN);
      return;
    }
    const card = one && (await this.given.takeOut(one));
    if (!card) {
      this.tell(one ? "The server does not answer; nothing was taken back." : "There is nothing to take back.");
      return;
    }
    const taken = newVerdict(card, "withdrawn", { takes_back: one.uid });
    this.link.verdicts.post(taken, pieceName(card));
    this.pieces.putBefore(card.blind ? card : { ...card, mine: null, seen: taken.uid });
    this.tell(`${pieceName(card)}: taken back; judge it again.`);
    this.next();
  }

  /** @param {string} words what became of the last key */
  tell(words) {
    this.find(".last").textContent = words;
  }

  /**
   * @param {"mark" | "none"} word of the finding gone to
   * @param {number} pressed when, in ms of the page's clock
   */
  label(word, pressed) {
    if (!this.card) return;
    if (this.pieces.data?.may_review) this.labels.say(this.card, word, pressed);
    else this.tell("You may look, but not judge.");
    this.refresh();
  }

  /** @param {LookCard} card on to the next that is only looked at */
  lookedAt(card) {
    this.pieces.lookedAt.push(card);
    this.next();
  }

  lookBack() {
    const card = this.pieces.lookedAt.pop();
    if (!card) {
      this.tell("There is none before it.");
      return;
    }
    this.pieces.putBefore(card);
    this.next();
  }

  putOff() {
    if (this.card && "look" in this.card) this.lookedAt(this.card);
    else if (this.pieces.putOff()) this.next();
  }

  /** @param {Received} told */
  received(told) {
    const pieces = this.pieces;
    pieces.progress = { ...pieces.progress, ...told };
    if (pieces.data?.mode === "blind") pieces.progress.left = undefined;
    this.refresh();
  }

  async renew() {
    if (!this.root.isConnected) {
      this.stop();
      return;
    }
    this.link.flush(); // what a tab that was closed left behind
    try {
      const other = await this.pieces.renew();
      this.link.answers();
      if (other && this.card) {
        this.tell(`${pieceName(this.card)} went to ${other} meanwhile.`);
        this.next();
      }
    } catch {
      this.link.away();
    }
    this.refresh();
  }

  async count() {
    if (!this.root.isConnected) this.stop();
    else if (!document.hidden) {
      await this.pieces.count().catch(() => {}); // whether the server is there, `renew` says
      this.refresh();
    }
  }

  takeOffer() {
    if (this.card || !this.root.querySelector(".offer")) return;
    if (this.pieces.data?.mode === "blind") this.finished();
    else this.pieces.takeOver();
  }

  leave() {
    if (!this.link.holder) return;
    navigator.sendBeacon("/desk/release", JSON.stringify({ pass: this.link.pass, holder: this.link.holder }));
  }

  // the page shows something else: what was on loan here is others' again, and so is this tab's name
  stop() {
    clearInterval(this.beat);
    clearInterval(this.counting);
    this.closing.disconnect();
    window.removeEventListener("keydown", this.onKey, true);
    window.removeEventListener("pagehide", this.onLeave);
    window.removeEventListener("storage", this.onStorage);
    this.stage.stopFlicker();
    this.pieces.ended = true;
    this.leave();
    // A call for pieces that is under way may reach the store after this: what it took is given back too.
    this.link.quiet().then(() => {
      this.leave();
      this.giveName();
    });
  }

  refresh() {
    tellSoon(this);
  }

  /** @param {number} index of a defect's name */
  choose(index) {
    const name = DEFECTS[index];
    if (!name || !this.defects) return;
    if (!this.defects.delete(name)) this.defects.add(name);
    this.refresh();
  }

  /** @param {number} pressed */
  reject(pressed) {
    if (!this.card) return;
    if ("look" in this.card) {
      this.tell(NOTHING_JUDGED);
      return;
    }
    const named = this.defects;
    if (named === null && !this.stage.stood(pressed)) {
      this.tell("This piece came only now: look, then judge.");
      return;
    }
    if (named !== null) {
      const chosen = DEFECTS.filter((name) => named.has(name));
      this.verdict("reject", chosen, pressed);
      return;
    }
    const flagged = this.stage.findings.filter((finding) => finding.outcome);
    this.defects = new Set(flagged.map((finding) => finding.tag).filter((tag) => DEFECTS.includes(tag)));
    this.refresh();
  }

  /** @param {number} index of a light, of a defect while a reject is under way, or of a verdict to take back */
  digit(index) {
    if (this.defects !== null) {
      this.choose(index);
      return;
    }
    if (this.given.choosing) {
      const one = this.given.shown().at(index);
      if (one) this.takeBack(one);
      return;
    }
    this.stage.stopFlicker();
    this.stage.setLight(index);
  }

  back() {
    this.tell("");
    if (!this.find(".keys").hidden) this.find(".keys").hidden = true;
    else if (this.given.choosing) this.given.choosing = false;
    else if (this.defects !== null) this.defects = null;
    else this.stage.whole();
    this.refresh();
  }

  chooseTaken() {
    this.given.choosing = !this.given.choosing && this.given.all.length > 0;
    this.tell(this.given.choosing ? "Take which verdict back? Press its number, or Esc." : "");
    this.refresh();
  }

  toggleHelp() {
    this.find(".keys").hidden = !this.find(".keys").hidden;
  }

  toggleTray() {
    this.panel.showsTray = !this.panel.showsTray;
    this.panel.tray(this.card);
    this.refresh();
  }

  toggleDark() {
    this.dark = !this.dark;
    this.root.classList.toggle("dark", this.dark);
    this.refresh();
    this.stage.lay();
  }
}
