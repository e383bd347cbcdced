// The flow: which piece is shown, what a key does, what comes next. Streamlit runs the page anew now and then; this lives on.

const AHEAD = 14; // pieces held beyond the one shown: more than anybody judges while the server is slow
const FIRST = 2; // asked for when nothing is shown: the rest comes while the first is looked at
const TOP_UP = 10; // fewer than this, and more are asked for
const BEAT_MS = 15000;
const PAN_PX = 80;

class Viewer {
  constructor(parent) {
    this.root = parent.querySelector(".desk");
    this.find = (name) => this.root.querySelector(name);
    this.stage = new Stage(this.find(".stage"), () => this.refresh());
    this.panel = new Panel(this.root, this.stage);
    this.panel.choose = (index) => this.choose(index);
    this.link = new Link(() => this.refresh());
    this.link.received = (told) => this.received(told);
    this.queue = [];
    this.given = [];
    this.later = [];
    this.card = null;
    this.defects = null;
    this.note = this.find(".note input");
    this.onKey = (event) => this.key(event);
    window.addEventListener("keydown", this.onKey, true);
    document.addEventListener("visibilitychange", () => document.hidden || this.renew());
    window.addEventListener("pagehide", () => this.leave());
    window.addEventListener("beforeunload", (event) => this.link.isKept() || event.preventDefault());
    for (const button of this.root.querySelectorAll("[data-key]")) {
      button.addEventListener("click", () => this.act(button.dataset.key, performance.now()));
    }
    this.beat = setInterval(() => this.renew(), BEAT_MS);
    this.started = holderName().then((name) => (this.link.holder = name));
  }

  // what the page says on each of its runs
  async take(data) {
    const asked = JSON.stringify([data.mode, data.wanted, data.one, data.blind, data.inspector]);
    this.data = data;
    this.panel.signs = data.signs;
    this.link.wanted = data.wanted;
    await this.started;
    this.link.take(data.pass, data.inspector);
    if (asked === this.asked) {
      if (this.stalled) this.fill();
      return;
    }
    this.asked = asked;
    this.queue = [];
    this.later = [];
    this.given = [];
    this.card = null;
    this.root.dataset.piece = "";
    if (data.mode !== "blind") this.recall();
    await this.fill();
    // A choice made in the page leaves the keyboard to its box; the bench wants it back, unless more is being chosen.
    const popover = '[data-testid="stPopoverBody"]';
    if (!document.activeElement?.closest(popover)) this.root.focus({ preventScroll: true });
  }

  async recall() {
    const told = await this.link.call("mine", {}).catch(() => ({ given: [] }));
    const known = new Set(this.given.map((one) => one.uid));
    this.given = [...told.given.filter((one) => !known.has(one.uid)), ...this.given];
    this.refresh();
  }

  // ask for pieces until enough are held; a server that does not answer is asked again
  async fill() {
    if (this.filling) return;
    this.filling = true;
    this.stalled = false;
    const asked = this.asked;
    let more = false;
    try {
      const told = await this.ask();
      if (asked === this.asked) more = this.arrived(told);
    } catch (fault) {
      this.stalled = true;
      this.say(fault.status ? fault.message : "The server does not answer; trying again.");
      setTimeout(() => this.stalled && this.fill(), 1500);
    }
    this.filling = false;
    if (more || asked !== this.asked) this.fill();
  }

  ask() {
    const held = [...this.queue, ...(this.card ? [this.card] : [])];
    const { mode, wanted, one, blind } = this.data;
    if (mode === "one") return this.link.call("one", one);
    const unsent = this.link.outbox.filter((verdict) => verdict.verdict !== "withdrawn");
    const count = this.card ? AHEAD - this.queue.length : FIRST;
    if (mode === "blind") {
      const have = [...held, ...unsent].map((card) => [card.piece_id, card.turn]);
      return this.link.call("blind", { blind, have, count });
    }
    const have = [...held, ...this.later, ...unsent].map((card) => card.piece_id);
    return this.link.call("next", { wanted, have, count });
  }

  // take in what came; whether more is to be asked for
  arrived(told) {
    if (told.left !== undefined) this.progress = told;
    if (this.data.mode === "one" && this.card) return false;
    this.queue.push(...told.cards);
    for (const card of this.queue) this.stage.fetch(card);
    if (!told.cards.length && !this.queue.length && !this.card) {
      if (this.later.length) {
        this.later = [];
        return true;
      }
      this.say(this.data.empty[this.data.mode]);
    }
    this.heldBy = told.held_by;
    if (!this.card && this.queue.length) this.next();
    this.refresh();
    return this.data.mode !== "one" && told.cards.length > 0 && this.queue.length < TOP_UP;
  }

  next() {
    this.card = this.queue.shift() ?? null;
    this.defects = null;
    this.note.value = "";
    this.find(".empty-state").hidden = Boolean(this.card);
    this.root.classList.toggle("nothing", !this.card);
    const one = this.data.mode === "one";
    if (this.card) {
      this.put();
    } else {
      this.root.dataset.piece = "";
      this.say(one ? this.data.empty.done : "Fetching the next piece");
    }
    if (!one && this.queue.length < TOP_UP) this.fill();
    this.refresh();
  }

  put() {
    const note = this.heldBy ? `${this.heldBy} has this piece open too; both verdicts will count.` : "";
    this.stage.show(this.card);
    this.panel.show(this.card, note);
    this.root.dataset.piece = `${this.card.tray}:${this.card.piece}`;
    for (const card of [this.card, ...this.queue.slice(0, 2)]) this.stage.fetchAll(card);
  }

  say(words) {
    const host = this.find(".empty-state");
    host.replaceChildren(...words.split("\n").map((line) => made("p", {}, line)));
    if (!this.card) {
      host.hidden = false;
      this.root.classList.add("nothing");
    }
  }

  verdict(said, defects, pressed) {
    const card = this.card;
    if (!card) return;
    if (!this.data.may_review) {
      this.find(".last").textContent = "You may look, but not judge.";
      return;
    }
    if (!this.stage.ready(card)) {
      this.find(".last").textContent = "The picture is not here yet; nothing was recorded.";
      return;
    }
    const uid = newId();
    this.link.post({
      uid,
      piece_id: card.piece_id,
      judgement_id: card.judgement_id,
      verdict: said,
      defects,
      note: this.note.value.trim(),
      given_at: new Date().toISOString(),
      ...(card.blind ? { blind_id: card.blind_id, turn: card.turn } : { seen: card.seen }),
    });
    this.given.push({ uid, card, piece_id: card.piece_id, verdict: said });
    this.find(".last").textContent = `${card.tray}, piece ${card.piece}: ${VERDICT_WORDS[said]}${defects.length ? ` (${defects.join(", ")})` : ""}`;
    this.next();
    this.time(pressed);
  }

  // how long the next piece took to be on the screen: until the frame after the one that drew it
  time(pressed) {
    const piece = this.root.dataset.piece;
    requestAnimationFrame(() => requestAnimationFrame(() => {
      if (piece && piece === this.root.dataset.piece) this.root.dataset.switchMs = (performance.now() - pressed).toFixed(1);
    }));
  }

  async undo() {
    const last = this.given.pop();
    if (!last) {
      this.find(".last").textContent = "There is nothing to take back.";
      return;
    }
    let card = last.card;
    if (!card) {
      const told = await this.link.call("cards", { judgements: [last.judgement_id] }).catch(() => ({ cards: [] }));
      card = told.cards[0];
      if (!card) {
        this.given.push(last);
        this.find(".last").textContent = "The server does not answer; nothing was taken back.";
        return;
      }
    }
    const uid = newId();
    this.link.post({
      uid,
      piece_id: card.piece_id,
      judgement_id: card.judgement_id,
      verdict: "withdrawn",
      defects: [],
      note: "",
      given_at: new Date().toISOString(),
      takes_back: last.uid,
      ...(card.blind ? { blind_id: card.blind_id, turn: card.turn } : {}),
    });
    if (this.card) this.queue.unshift(this.card);
    this.queue.unshift({ ...card, mine: null, seen: uid });
    this.find(".last").textContent = `${card.tray}, piece ${card.piece}: taken back; judge it again.`;
    this.next();
  }

  putOff() {
    if (!this.card || this.data.mode !== "queue") return;
    this.later.push(this.card);
    this.next();
  }

  received(told) {
    this.progress = { ...this.progress, ...told };
    for (const one of told.receipts) if (one.outcome === "refused") this.find(".last").textContent = one.detail;
    if (this.data.mode === "blind") this.progress.left = undefined;
    this.refresh();
  }

  async renew() {
    if (!this.root.isConnected) return this.stop();
    if (this.data?.mode !== "queue" || !this.card) return this.stalled || (!this.card && this.fill());
    const pieces = [this.card, ...this.queue].map((card) => card.piece_id);
    try {
      const told = await this.link.call("renew", { pieces, wanted: this.data.wanted });
      this.progress = told;
      this.queue = this.queue.filter((card) => !told.gone_to[card.piece_id]);
      const other = told.gone_to[this.card?.piece_id];
      if (other) {
        this.find(".last").textContent = `${this.card.tray}, piece ${this.card.piece} went to ${other} meanwhile.`;
        this.next();
      }
    } catch {
      this.link.trouble ||= "the server does not answer; trying again";
      this.link.flush();
    }
    this.refresh();
  }

  leave() {
    if (!this.link.holder || !this.root.isConnected) return;
    navigator.sendBeacon("/desk/release", JSON.stringify({ pass: this.link.pass, holder: this.link.holder }));
  }

  stop() {
    clearInterval(this.beat);
    window.removeEventListener("keydown", this.onKey, true);
    this.stage.stopFlicker();
  }

  refresh() {
    if (!this.data) return;
    const unsent = this.link.outbox.length;
    const saved = this.find(".saved");
    const trouble = this.link.trouble && unsent ? ` (${this.link.trouble})` : "";
    saved.textContent = unsent ? `\u25B2 ${unsent} not saved yet${trouble}` : "\u2713 all saved";
    saved.classList.toggle("waiting", unsent > 0);
    this.root.dataset.unsent = String(unsent);
    this.find(".progress").textContent = this.progressWords();
    this.panel.lit();
    const shows = { f: Boolean(this.stage.beat), d: this.stage.shows.deviations, o: this.stage.shows.outline };
    Object.assign(shows, { h: this.stage.shows.marks, m: this.stage.ruling, t: Boolean(this.panel.showsTray), l: this.dark });
    for (const [key, on] of Object.entries(shows)) {
      this.find(`.views [data-key="${key}"]`).setAttribute("aria-pressed", String(Boolean(on)));
    }
    this.find(".magnified").textContent = this.magnifiedWords();
    this.panel.chooser(this.defects !== null, this.defects ?? new Set());
  }

  magnifiedWords() {
    if (!this.stage.shows.deviations || !this.card || this.card.blind) return "";
    if (!this.card.deviations) return "No deviations along the outline were filed for this piece.";
    return `Deviations drawn ${this.card.deviations.times} times larger; orange outside the line: too much metal; pale inside it: metal missing`;
  }

  progressWords() {
    const { left, pace, whole } = this.progress ?? {};
    if (this.data.mode === "one") return "one piece, by its link";
    if (this.data.mode === "blind") return left === undefined ? "" : `${whole - left} of ${whole} seen`;
    if (left === undefined) return "";
    const minutes = pace ? Math.ceil((left / pace) * 10) : null;
    return `${left} left${pace && left ? `, ${pace} in the last 10 min, about ${minutes} min to go` : ""}`;
  }

  choose(index) {
    const name = DEFECTS[index];
    if (!name || !this.defects) return;
    if (!this.defects.delete(name)) this.defects.add(name);
    this.refresh();
  }

  reject(pressed) {
    if (!this.card) return;
    if (this.defects !== null) {
      const chosen = DEFECTS.filter((name) => this.defects.has(name));
      this.verdict("reject", chosen, pressed);
      return;
    }
    const flagged = (this.card.findings ?? []).filter((finding) => finding.outcome === "reject" || finding.outcome === "review");
    this.defects = new Set(flagged.map((finding) => finding.tag).filter((tag) => DEFECTS.includes(tag)));
    this.refresh();
  }

  typing(event) {
    return event.composedPath()[0].matches?.("input, textarea, select, [contenteditable=true], [role=combobox], [role=listbox] *");
  }

  key(event) {
    if (!this.root.isConnected) return this.stop();
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.composedPath()[0] === this.note) {
      if (event.key !== "Enter" && event.key !== "Escape") return;
      this.root.focus({ preventScroll: true });
      event.preventDefault();
      return;
    }
    if (this.typing(event)) return;
    const name = event.key.length === 1 ? event.key.toLowerCase() : event.key.toLowerCase().replace("arrow", "");
    const onButton = event.composedPath()[0].matches?.("button, a, summary");
    if (onButton && (name === "enter" || name === " ")) return;
    if (!this.act(name, event.timeStamp, event.repeat)) return;
    event.preventDefault();
    event.stopImmediatePropagation();
  }

  // Do what a key says; whether it meant anything. A key held down pans and zooms, but never judges.
  act(name, pressed, repeated) {
    const stage = this.stage;
    const moves = { left: [-PAN_PX, 0], right: [PAN_PX, 0], up: [0, -PAN_PX], down: [0, PAN_PX] };
    if (!this.card && !["u", "l", "?", "escape", "r", "a", "c"].includes(name)) return false;
    if (moves[name]) {
      if (stage.zoom === 1) return false;
      stage.panBy(...moves[name]);
      return true;
    }
    if (name === "+" || name === "=") return stage.zoomBy(ZOOM_STEP), true;
    if (name === "-") return stage.zoomBy(1 / ZOOM_STEP), true;
    const digit = /^[1-9]$/.test(name) ? Number(name) - 1 : -1;
    const once = {
      a: () => this.verdict("accept", [], pressed),
      r: () => this.reject(pressed),
      enter: () => this.defects !== null && this.reject(pressed),
      escape: () => this.back(),
      u: () => this.undo(),
      s: () => this.putOff(),
      n: () => this.note.focus(),
      f: () => stage.flicker(),
      d: () => stage.toggle("deviations"),
      o: () => stage.toggle("outline"),
      h: () => stage.toggle("marks"),
      m: () => stage.rule(),
      t: () => this.toggleTray(),
      l: () => this.toggleDark(),
      j: () => this.panel.goTo(this.panel.at + 1),
      k: () => this.panel.goTo(this.panel.at - 1),
      0: () => stage.whole(),
      "?": () => (this.find(".keys").hidden = !this.find(".keys").hidden),
      c: () => {}, // Streamlit would offer to clear its caches
    };
    const does = digit >= 0 ? () => this.light(digit) : once[name];
    if (!does) return false;
    if (!repeated) does();
    return true;
  }

  light(index) {
    if (this.defects !== null) return this.choose(index);
    this.stage.stopFlicker();
    this.stage.setLight(index);
  }

  back() {
    if (!this.find(".keys").hidden) this.find(".keys").hidden = true;
    else if (this.defects !== null) this.defects = null;
    else this.stage.whole();
    this.refresh();
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

const viewers = new WeakMap();

export default function (component) {
  const { parentElement, data } = component;
  let viewer = viewers.get(parentElement);
  if (!viewer || !viewer.root.isConnected) {
    viewer = new Viewer(parentElement);
    viewers.set(parentElement, viewer);
  }
  viewer.take(data);
}
