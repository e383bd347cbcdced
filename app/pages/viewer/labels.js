// What a person says of one finding: a mark, or none. The judge of marks can be taught by it; no verdict rests on it.

const NOTHING_JUDGED = "Here nothing is judged: W says a mark, E no mark.";

/** @type {Record<string, string>} */
const LABEL_WORDS = { mark: "a mark", none: "no mark", withdrawn: "taken back" };

/**
 * Of each line that can be gone to, in their order, the finding that it shows: its place in the judgement, null where a
 * person can't say of it whether it is a mark.
 * @param {Card | null} card
 */
function labelled(card) {
  if (!card) return [];
  if (card.blind) return card.questions.map((one) => one.finding);
  const ofReasons = card.reasons.map(({ findings }) => card.findings[findings[0]]?.finding ?? null);
  return [...ofReasons, ...card.questions.map((one) => one.finding), ...card.findings.map((one) => one.finding)];
}

class Labels {
  /**
   * @param {Link} link
   * @param {Panel} panel
   * @param {(words: string) => void} tell what became of the last key
   * @param {(card: LookCard) => void} done all of a piece was said that is only looked at
   */
  constructor(link, panel, tell, done) {
    this.done = done;
    this.link = link;
    this.panel = panel;
    this.tell = tell;
    /** @type {number | undefined} */
    this.given = undefined; // by this person, in all; until the server has told, nobody knows
  }

  /**
   * Say of the finding gone to whether it is a mark; said once more, it is taken back.
   * @param {Card} card
   * @param {"mark" | "none"} word
   * @param {number} pressed when, in ms of the page's clock
   */
  say(card, word, pressed) {
    const finding = labelled(card)[this.panel.at] ?? null;
    if (finding === null) {
      this.tell("Nothing here can be told a mark or none: J goes on to what can.");
      return;
    }
    if (!this.panel.stood(pressed)) {
      this.tell("This came only now: look, then say.");
      return;
    }
    const before = card.labels[finding];
    const label = before === word ? "withdrawn" : word;
    const name = (card.blind ? [] : card.findings).find((one) => one.finding === finding)?.tag ?? "the place asked about";
    const said = { uid: newId(), judgement_id: card.judgement_id, finding, label, given_at: new Date().toISOString() };
    this.link.labels.post({ ...said, ...("look" in card ? card.look : {}) }, `${pieceName(card)}, ${name}`);
    if (label === "withdrawn") delete card.labels[finding];
    else card.labels[finding] = label;
    if (this.given !== undefined) this.given += Number(label !== "withdrawn") - Number(before !== undefined);
    this.tell(`${name}: ${LABEL_WORDS[label]}`);
    this.panel.labels(card);
    if (label === "withdrawn") this.panel.look();
    else this.goOn(card);
  }

  /** @param {Card} card on to the next of which nothing was said */
  goOn(card) {
    const { panel } = this;
    const findings = labelled(card);
    const open = findings.map((_, k) => (panel.at + 1 + k) % findings.length).find((at) => {
      const finding = findings[at];
      return finding !== null && !(finding in card.labels);
    });
    if (open !== undefined) panel.goTo(open);
    else if ("look" in card) this.done(card);
    else panel.look();
  }
}
