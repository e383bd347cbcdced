// The picture: frames by address, marks as SVG above them, the whole piece with the close-up beside it on every new piece.

const FLICKER_MS = 500; // two changes a second: WCAG 2 allows three flashes
const STAND_MS = 250; // nobody has looked at a picture that came less than this ago
const BRIGHT_STEP = 1.2;
const BRIGHT_MOST = 3;
const TALL = 0.75; // higher than this share of its width: the piece stands upright in it
const PLACE_MM = 1.5; // a finding without a size of its own is shown as one so wide

class Stage {
  /**
   * @param {HTMLElement} host the whole piece's pane
   * @param {HTMLElement} beside the close-up's
   * @param {() => void} changed called when what is shown changed
   */
  constructor(host, beside, changed) {
    this.host = host;
    this.both = /** @type {HTMLElement} */ (host.parentElement);
    this.changed = changed;
    this.pictures = new Pictures();
    this.closeUp = new CloseUp(beside);
    this.view = new View();
    this.sheet = inside(host, ".sheet");
    this.frame = inside(host, ".frame");
    this.marks = inside(host, ".marks");
    this.words = inside(host, ".stage-words");
    this.light = 0; // the one shown, and the one shown before it
    this.before = 0;
    this.brightness = 1;
    this.shows = { marks: true, outline: false, deviations: false, blind: false };
    this.ruling = false;
    /** @type {Point[] | null} */
    this.ruler = null; // its two ends, in shares of the picture
    /** @type {number[]} */
    this.marked = []; // findings gone to
    this.beat = 0; // the flicker's timer; 0 while it rests
    this.drawnAt = Infinity; // when the card's first picture came, in ms of the page's clock
    /** @type {Card | null} */
    this.card = null;
    this.reason = /** @type {ReasonLine | QuestionLine | null} */ (null); // the one gone to last
    new ResizeObserver(() => this.lay()).observe(this.both);
    this.gestures = new Gestures(host, this);
  }

  // A picture that failed is asked for again when its piece is shown anew: the disk may be back.
  /** @param {Card} card */
  retry(card) {
    for (const { url } of card.lights) if (this.pictures.held.get(url)?.failed) this.pictures.held.delete(url);
  }

  // the light that shows best what decides; of a blind round the one that was used last
  /** @param {Card} card */
  lightOf(card) {
    const best = card.blind ? this.light : (card.reasons[0]?.light ?? 0);
    return Math.min(best, Math.max(0, card.lights.length - 1));
  }

  /** @param {Card} card */
  fetch(card) {
    if (card.lights.length) this.pictures.get(card.lights[this.lightOf(card)].url);
  }

  /** @param {Card} card */
  fetchAll(card) {
    for (const light of card.lights) this.pictures.get(light.url);
  }

  // a new piece opens on its evidence: whole, and beside it what decides
  /** @param {Card} card */
  show(card) {
    if (card !== this.card) this.retry(card);
    this.card = card;
    this.ruler = null;
    this.drawnAt = Infinity;
    this.host.dataset.stands = "";
    this.stopFlicker();
    this.shows = { marks: true, outline: false, deviations: false, blind: false };
    this.before = this.lightOf(card);
    this.view.whole();
    const first = (card.blind ? card.questions : card.reasons)[0];
    if (!first) {
      this.marked = [];
      this.closeUp.aim(null, "", false);
      this.fit();
      this.setLight(this.lightOf(card), true);
    } else this.evidence(first);
  }

  // a reason, or what is asked about, in its own best light
  /** @param {ReasonLine | QuestionLine} reason */
  evidence(reason) {
    this.reason = reason;
    this.marked = reason.findings.slice(0, 1);
    Object.assign(this.shows, { deviations: reason.deviations, outline: reason.drawing, blind: reason.blind });
    this.closeUp.aim(reason.box, reason.short, reason.deviations || reason.drawing);
    this.fit();
    this.setLight(this.clearest(reason), true);
    // The first piece of a page, or of a link, comes before its pictures: which of them shows it best is seen once all are here.
    const [card, first, all] = [this.card, this.light, this.pictures.late(this.card?.lights ?? [])];
    all?.then(() => this.card === card && this.reason === reason && this.light === first && this.setLight(this.clearest(reason), true));
  }

  // the light in which a reason's mark stands out most, of those whose picture is here; else the one that should show it
  /** @param {ReasonLine | QuestionLine} reason */
  clearest(reason) {
    const { light, box, findings } = reason;
    const lights = this.card?.lights ?? [];
    const expected = Math.min(light, Math.max(0, lights.length - 1));
    const points = "points" in reason ? reason.points : (this.findings[findings[0]]?.points ?? []);
    if (!expected || !box || !points.length) return expected; // 0 is the backlight: the outline
    const how = lights.map(({ url }, k) => {
      const picture = this.pictures.held.get(url);
      return k && picture?.ready && picture.image.naturalWidth ? this.closeUp.contrast(picture.image, box, points) : -1;
    });
    return Math.max(...how) > 0 ? how.indexOf(Math.max(...how)) : expected;
  }

  // a finding in the light that is on
  /** @param {number} index of a finding; -1 for none */
  goTo(index) {
    const finding = this.findings[index];
    this.marked = finding ? [index] : [];
    if (finding?.points.length) {
      this.closeUp.aim(boxAround(finding.points, PLACE_MM * (this.card?.px_per_mm ?? 1)), finding.words, this.shows.deviations);
    }
    this.lay();
  }

  /**
   * @param {number} index
   * @param {boolean} same the light before it is not remembered
   */
  setLight(index, same = false) {
    const card = this.card;
    if (!card || !card.lights.length) {
      this.frame.replaceChildren();
      this.host.dataset.shown = card ? "none" : "";
      this.words.textContent = card ? "No picture of this piece: it was not found in its frames, or none were filed." : "";
      if (card) this.drawn(card);
      this.changed();
      return;
    }
    if (index >= card.lights.length) return;
    if (!same && index !== this.light) this.before = this.light;
    this.light = index;
    const light = card.lights[index];
    const picture = this.pictures.get(light.url);
    const put = () => {
      if (this.card !== card || this.light !== index) return;
      this.words.textContent = picture.failed ? `Picture missing (${light.name}): ${picture.failed}` : "";
      picture.image.alt = `${pieceName(card)}, ${light.name}`;
      this.frame.replaceChildren(...(picture.failed ? [] : [picture.image]));
      this.host.dataset.shown = picture.failed ? "missing" : light.url;
      this.near();
      this.drawn(card);
      this.changed();
    };
    if (picture.ready || picture.failed) put();
    else {
      this.words.textContent = "Fetching the picture";
      this.host.dataset.shown = "";
      this.frame.replaceChildren(); // another picture must not stand for it
      this.near();
      picture.done.then(put);
    }
    this.changed();
  }

  near() {
    const image = /** @type {HTMLImageElement | null} */ (this.frame.firstElementChild);
    if (this.card) this.closeUp.draw(this.card, image, this.view.turned);
  }

  /** @param {Card} card what is to be seen of it is on the screen, or said to be missing */
  drawn(card) {
    if (this.drawnAt < Infinity) return;
    this.drawnAt = performance.now();
    setTimeout(() => {
      if (this.card === card) this.host.dataset.stands = "true";
    }, STAND_MS);
  }

  /** @param {number} moment whether the piece had been on the screen long enough then for anybody to see it */
  stood(moment) { return moment - this.drawnAt >= STAND_MS; }

  flicker() {
    if (this.beat) return this.stopFlicker();
    const other = this.before !== this.light ? this.before : this.light ? 0 : 1;
    if (other >= (this.card?.lights.length ?? 0)) return;
    const pair = [this.light, other];
    let turn = 0;
    this.beat = setInterval(() => {
      turn = 1 - turn;
      this.setLight(pair[turn], true);
    }, FLICKER_MS);
    this.before = other;
    this.changed();
  }

  stopFlicker() {
    clearInterval(this.beat);
    this.beat = 0;
  }

  /** @param {number} brightness 1: as taken */
  brighten(brightness) {
    this.brightness = Math.min(BRIGHT_MOST, Math.max(1 / BRIGHT_MOST, brightness));
    this.both.style.setProperty("--brightness", this.brightness.toFixed(2));
    this.changed();
  }

  /** @param {"marks" | "outline" | "deviations" | "blind"} what */
  toggle(what) {
    this.shows[what] = !this.shows[what];
    this.draw();
    this.changed();
  }

  lay() {
    this.fit();
    this.near();
  }

  // everything but the close-up, which a light that comes draws anyway
  fit() {
    if (!this.card || !this.host.clientWidth || !this.host.clientHeight) return; // nothing has a scale in no room
    const tall = this.both.clientHeight > TALL * this.both.clientWidth;
    this.both.classList.toggle("tall", tall);
    Object.assign(this.view, { turned: tall, size: this.card.size, pane: [this.host.clientWidth, this.host.clientHeight] });
    const { scale } = this.view;
    this.sheet.style.width = `${this.card.size[0]}px`;
    this.sheet.style.height = `${this.card.size[1]}px`;
    this.sheet.style.transform = this.view.transform;
    this.sheet.classList.toggle("pixels", scale * devicePixelRatio > 2);
    this.sheet.style.setProperty("--unit", `${1 / scale}`);
    this.host.dataset.zoom = this.view.zoom.toFixed(3);
    layBar(inside(this.host, ".bar"), (this.card.px_per_mm ?? 0) * scale);
    this.draw();
  }

  whole() {
    this.view.whole();
    this.lay();
  }

  /**
   * @param {number} factor
   * @param {Point} [at] px from the pane's corner: what is under it stays under it
   */
  zoomBy(factor, at) {
    this.view.zoomBy(factor, at);
    this.lay();
  }

  /**
   * @param {number} x px of the screen
   * @param {number} y
   */
  panBy(x, y) {
    this.view.panBy(x, y);
    this.lay();
  }

  rule() {
    this.ruling = !this.ruling;
    if (!this.ruling) this.ruler = null;
    this.host.classList.toggle("ruling", this.ruling);
    this.draw();
    this.changed();
  }

  /** @param {Point[]} ends in shares of the picture */
  measure(ends) {
    this.ruler = ends;
    this.draw();
  }

  // none of a blind round's
  get findings() {
    return this.card && !this.card.blind ? this.card.findings : [];
  }

  draw() {
    this.marks.replaceChildren();
    if (!this.card) return;
    this.marks.setAttribute("viewBox", `0 0 ${this.card.size.join(" ")}`);
    this.marks.append(...outlineMarks(this.card, this.shows));
    if (this.shows.blind) this.marks.append(...blindMarks(this.card));
    const unit = 1 / this.view.scale;
    if (this.shows.marks) {
      this.marks.append(...this.findings.flatMap((one, k) => findingMarks(one, this.marked.includes(k), unit)));
      const { box } = this.closeUp;
      if (box && !this.marked.length) this.marks.append(...brackets(box, 5 * unit, this.reason?.outcome ? "flagged here" : "plain here"));
    }
    if (!this.ruler) return;
    const { marks, length } = rulerMarks(this.card, this.ruler, this.view.turned);
    this.marks.append(...marks);
    this.host.dataset.ruler = length;
  }
}
