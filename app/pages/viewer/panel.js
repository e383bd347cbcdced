// What stands beside the picture: who the piece is, why it was flagged, its findings, its neighbours, what was said.

/** @type {Record<string, string>} */
const VERDICT_WORDS = { accept: "accepted", reject: "rejected", withdrawn: "taken back" };
const LAPSED = ", before it was judged as worse than then: judge it again";
const ASKED = "Say of each place whether it is a mark. What the camera said is hidden, and nothing is judged.";
const DEFECTS = ["burr", "nick", "swell", "hollow", "bend", "scratch", "pit", "other"];

/** @param {string} time in words of this place and zone */
function clock(time) {
  const moment = new Date(time);
  return Number.isNaN(moment.getTime()) ? time : moment.toLocaleString([], { dateStyle: "short", timeStyle: "short" });
}

/**
 * What a person who does not see the screen is told of a piece that came.
 * @param {Card} card
 */
function announcement(card) {
  const name = pieceName(card);
  if (card.blind) return "look" in card ? `${name}. ${ASKED}` : `${name}. A blind round.`;
  const reasons = card.reasons.length > 1 ? `${card.reasons.length} reasons, the worst: ` : "";
  return `${name}: ${card.verdict}. ${card.reasons.length ? reasons + card.reasons[0].words : card.faults.join(". ")}`;
}

/** @param {OpenCard} card */
function aboutWords(card) {
  const process = Object.entries(card.process).map(([name, value]) => `${name} ${value}`);
  return [card.part_name, card.lot && `lot ${card.lot}`, ...process].filter(Boolean).join("  ·  ");
}

class Panel {
  /**
   * @param {Element} root
   * @param {Stage} stage
   */
  constructor(root, stage) {
    this.stage = stage;
    this.find = (/** @type {string} */ name) => inside(root, name);
    /** @type {Record<string, string>} */
    this.signs = {};
    this.at = -1; // the line gone to: a reason, a question, or a finding below them
    this.cameAt = 0; // when it was gone to, in ms of the page's clock
    this.showsTray = false;
    this.recentTold = "";
    /** @type {(index: number) => void} */
    this.choose = () => {};
    /** @type {(given: Given) => void} */
    this.takeBack = () => {};
  }

  /**
   * @param {Card} card
   * @param {string} note said first
   */
  show(card, note) {
    const about = card.blind ? "" : aboutWords(card);
    this.find(".who").textContent = card.blind ? `Number ${card.number}` : `Tray ${pieceName(card)}`;
    this.find(".about").textContent = about;
    this.find(".about").title = about;
    this.sign(card);
    this.reasons(card, note);
    this.findings(card);
    this.lights(card);
    this.tray(card);
  }

  /** @param {Card} card */
  sign(card) {
    const sign = this.find(".sign");
    sign.replaceChildren();
    sign.title = card.blind ? "" : `The camera says ${card.verdict}`;
    if (card.blind) {
      sign.textContent = "blind";
      return;
    }
    sign.insertAdjacentHTML("beforeend", this.signs[card.verdict]); // our own drawing, not data
    sign.append(card.verdict);
  }

  /**
   * @param {Card} card
   * @param {string} note
   */
  reasons(card, note) {
    const list = this.find(".reasons");
    const lines = [];
    if (note) lines.push(made("li", { className: "note-line" }, note));
    if (card.blind) {
      lines.push(made("li", {}, "look" in card ? ASKED : "A blind round: what the camera said is hidden. Judge what you see."));
      card.questions.forEach((one, index) => lines.push(this.line(one.words, "question", index)));
      list.replaceChildren(...lines);
      return;
    }
    for (const words of card.limits_told) lines.push(made("li", { className: "note-line" }, words));
    if (!card.newest) lines.push(made("li", { className: "note-line" }, "An older judgement: the piece was judged again since."));
    if (card.mine) {
      const still = card.mine.lapsed ? LAPSED : "";
      const said = `You ${VERDICT_WORDS[card.mine.verdict]} it (${clock(card.mine.given_at)})${still}. Judging again corrects that.`;
      lines.push(made("li", { className: "note-line" }, said));
    }
    for (const one of card.others) {
      const words = `${one.inspector} (${one.known_by}) ${VERDICT_WORDS[one.verdict]} it (${clock(one.given_at)})${one.lapsed ? LAPSED : ""}${one.note ? `: ${one.note}` : ""}`;
      lines.push(made("li", { className: "note-line" }, words));
    }
    if (card.differ) lines.push(made("li", { className: "note-line" }, "They had not seen each other's verdict: the reject stands until somebody judges again."));
    for (const words of card.faults) lines.push(made("li", { className: "review" }, `Not measured properly: ${words}`));
    card.reasons.forEach((one, index) => lines.push(this.line(one.words, one.outcome, index)));
    if (!card.faults.length && !card.reasons.length) lines.push(made("li", {}, "Every limit is passed."));
    card.questions.forEach((one, index) => lines.push(this.line(one.words, "question", card.reasons.length + index)));
    list.replaceChildren(...lines);
  }

  /**
   * A line to go to, by a click or by J and K.
   * @param {string} words
   * @param {string} kind
   * @param {number} index among all lines: reasons first, then questions, then findings
   */
  line(words, kind, index) {
    const button = made("button", { type: "button", className: `line ${kind}`, tabIndex: -1 }, words, made("span", { className: "own" }));
    button.onclick = () => this.goTo(index);
    return made("li", {}, button);
  }

  /** @param {Card} card */
  findings(card) {
    const list = this.find(".findings");
    const first = (card.blind ? 0 : card.reasons.length) + card.questions.length;
    this.find(".findings-head").textContent = card.blind ? "" : `Findings, worst first (${this.stage.findings.length})`;
    const lines = this.stage.findings.map((one, index) => this.line(one.words, one.outcome || "plain", first + index));
    if (!card.blind) for (const area of card.blind_areas) lines.push(made("li", { className: "empty" }, area.words));
    if (!card.blind && !lines.length) lines.push(made("li", { className: "empty" }, "No finding was reported."));
    list.replaceChildren(...lines);
    this.at = (card.blind ? card.questions : card.reasons).length ? 0 : -1;
    this.here();
    this.labels(card);
    this.look();
  }

  /** @param {Card} card beside each line what this person says of its finding */
  labels(card) {
    this.find(".labels").hidden = "turn" in card;
    const findings = labelled(card);
    this.lines().forEach((line, k) => {
      const label = card.labels[findings[k] ?? -1];
      inside(line, ".own").textContent = label ? ` \u00B7 you say: ${LABEL_WORDS[label]}` : "";
    });
  }

  // what is selected is looked at from now on
  look() {
    this.cameAt = performance.now();
  }

  /** @param {number} moment whether the line gone to had been shown long enough then for anybody to see it */
  stood(moment) {
    return this.stage.stood(moment) && moment - this.cameAt >= STAND_MS;
  }

  lines() {
    return [...this.find(".said").querySelectorAll("button.line")];
  }

  here() {
    const lines = this.lines();
    lines.forEach((line, k) => {
      line.classList.toggle("here", k === this.at);
      if (k === this.at) line.setAttribute("aria-current", "true");
      else line.removeAttribute("aria-current");
    });
    return lines;
  }

  /** @param {number} index of a reason, a question or a finding, going round at the ends */
  goTo(index) {
    const count = this.lines().length;
    const card = this.stage.card;
    if (!count || !card) return;
    this.at = (index + count) % count;
    this.here()[this.at].scrollIntoView({ block: "nearest" });
    this.look();
    const shown = [...(card.blind ? [] : card.reasons), ...card.questions];
    if (this.at < shown.length) this.stage.evidence(shown[this.at]);
    else this.stage.goTo(this.at - shown.length);
  }

  /** @param {Card} card */
  lights(card) {
    const buttons = card.lights.map((light, index) => {
      const button = made("button", { type: "button", tabIndex: -1 }, made("kbd", {}, String(index + 1)), ` ${light.name}`);
      button.onclick = () => {
        this.stage.stopFlicker();
        this.stage.setLight(index);
      };
      return button;
    });
    this.find(".lights").replaceChildren(...buttons);
    this.lit();
  }

  lit() {
    [...this.find(".lights").children].forEach((button, index) => {
      button.setAttribute("aria-pressed", String(index === this.stage.light));
    });
  }

  // the whole tray, small, with every piece's verdict; fetched only while it is shown
  /** @param {Card | null} card */
  async tray(card) {
    const host = this.find(".tray");
    host.replaceChildren();
    if (!this.showsTray || !card || card.blind || !card.tray_picture) return;
    const answer = await fetch(card.tray_picture);
    if (this.stage.card !== card) return;
    if (!answer.ok) {
      host.append(made("p", {}, `Picture of the tray missing: ${await answer.text()}`));
      return;
    }
    const shrink = Number(answer.headers.get("X-Shrink"));
    const words = card.neighbours.map((one) => `piece ${one.piece} ${one.verdict}`).join(", ");
    const picture = new Image();
    picture.alt = `tray ${card.tray}: ${words}`;
    picture.title = words;
    picture.src = URL.createObjectURL(await answer.blob());
    await picture.decode().catch(() => {});
    URL.revokeObjectURL(picture.src);
    const marks = drawn("svg", { viewBox: `0 0 ${picture.naturalWidth} ${picture.naturalHeight}`, "aria-hidden": "true" });
    for (const one of card.neighbours) {
      if (!one.at) continue;
      const [x, y] = one.at.map((value) => value * shrink);
      marks.append(
        drawn("circle", { cx: x, cy: y, r: one.here ? 34 : 22, class: one.here ? "here" : one.verdict }),
        drawn("text", { x, y: y + 9, "text-anchor": "middle" }, `${one.piece}`),
      );
    }
    host.replaceChildren(made("div", { className: "tray-picture" }, picture, marks));
  }

  /**
   * The latest verdicts, newest first, each with its piece; a number takes it back while `taking`.
   * @param {Given[]} given
   * @param {boolean} taking
   */
  recent(given, taking) {
    const told = JSON.stringify([taking, given.map((one) => one.uid)]);
    if (told === this.recentTold) return; // every second something else is told anew: the thumbnails stay
    this.recentTold = told;
    const buttons = given.map((one, index) => {
      const { card, verdict } = one;
      const name = card ? pieceName(card) : "a piece from before";
      const sign = verdict === "accept" ? "\u2713" : "\u2717";
      const light = card?.lights[0];
      const number = taking ? made("kbd", {}, String(index + 1)) : "";
      const picture = light ? made("img", { src: light.url, alt: "" }) : "";
      const words = `${name}: ${VERDICT_WORDS[verdict]}; take it back`;
      const button = made("button", { type: "button", tabIndex: -1, title: words, className: verdict }, number, picture, sign);
      button.setAttribute("aria-label", words);
      button.onclick = () => this.takeBack(one);
      return button;
    });
    this.find(".recent").replaceChildren(...buttons);
  }

  /**
   * @param {boolean} open
   * @param {Set<string>} chosen
   */
  chooser(open, chosen) {
    const host = this.find(".chooser");
    host.hidden = !open;
    this.find(".verdicts").hidden = open;
    if (!open) return;
    const buttons = DEFECTS.map((name, index) => {
      const button = made("button", { type: "button", tabIndex: -1 }, made("kbd", {}, String(index + 1)), ` ${name}`);
      button.setAttribute("aria-pressed", String(chosen.has(name)));
      button.onclick = () => this.choose(index);
      return button;
    });
    this.find(".defects").replaceChildren(...buttons);
  }
}
