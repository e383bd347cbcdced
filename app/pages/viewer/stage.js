// The picture: frames by address, marks as SVG above them, zoom and pan that stay put from piece to piece.

const FLICKER_MS = 500; // two changes a second: WCAG 2 allows three flashes
const ZOOM_STEP = 1.25;
const ZOOM_MAX = 40;
const PLACE_ZOOM = 5;
const STAND_MS = 250; // nobody has looked at a picture that came less than this ago

class Stage {
  /**
   * @param {HTMLElement} host
   * @param {() => void} changed called when what is shown changed
   */
  constructor(host, changed) {
    this.host = host;
    this.changed = changed;
    this.pictures = new Pictures();
    this.sheet = inside(host, ".sheet");
    this.frame = inside(host, ".frame");
    this.marks = inside(host, ".marks");
    this.words = inside(host, ".stage-words");
    this.light = 0; // the one shown, and the one shown before it
    this.before = 0;
    this.zoom = 1;
    /** @type {Point} */
    this.center = [0.5, 0.5]; // of the picture, in shares of its width and height
    this.shows = { marks: true, outline: false, deviations: false };
    this.ruling = false;
    /** @type {Point[] | null} */
    this.ruler = null; // its two ends, in shares of the picture
    this.marked = -1;
    this.beat = 0; // the flicker's timer; 0 while it rests
    this.drawnAt = Infinity; // when the card's first picture came, in ms of the page's clock
    /** @type {Card | null} */
    this.card = null;
    new ResizeObserver(() => this.lay()).observe(host);
    host.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    host.addEventListener("pointerdown", (event) => this.press(event));
  }

  // A picture that failed is asked for again when its piece is shown anew: the disk may be back.
  /** @param {Card} card */
  retry(card) {
    for (const { url } of card.lights) if (this.pictures.held.get(url)?.failed) this.pictures.held.delete(url);
  }

  /** @param {Card} card */
  lightOf(card) {
    return Math.min(this.light, Math.max(0, card.lights.length - 1));
  }

  /** @param {Card} card */
  fetch(card) {
    if (card.lights.length) this.pictures.get(card.lights[this.lightOf(card)].url);
  }

  /** @param {Card} card */
  fetchAll(card) {
    for (const light of card.lights) this.pictures.get(light.url);
  }

  /** @param {Card} card */
  show(card) {
    if (card !== this.card) this.retry(card);
    this.card = card;
    this.ruler = null;
    this.drawnAt = Infinity;
    this.host.dataset.stands = "";
    this.stopFlicker();
    this.setLight(this.lightOf(card), true);
    this.draw();
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
    if (index < card.lights.length) this.light = index;
    const light = card.lights[index];
    const picture = this.pictures.get(light.url);
    const put = () => {
      if (this.card !== card || this.light !== index) return;
      this.words.textContent = picture.failed ? `Picture missing (${light.name}): ${picture.failed}` : "";
      picture.image.alt = `piece ${card.piece} of tray ${card.tray}, ${light.name}`;
      this.frame.replaceChildren(...(picture.failed ? [] : [picture.image]));
      this.host.dataset.shown = picture.failed ? "missing" : light.url;
      this.drawn(card);
      this.changed();
    };
    if (picture.ready || picture.failed) put();
    else {
      this.words.textContent = "Fetching the picture";
      this.host.dataset.shown = "";
      picture.done.then(put);
    }
    this.changed();
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
  stood(moment) {
    return moment - this.drawnAt >= STAND_MS;
  }

  flicker() {
    if (this.beat) {
      this.stopFlicker();
      return;
    }
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

  /** @param {"marks" | "outline" | "deviations"} what */
  toggle(what) {
    this.shows[what] = !this.shows[what];
    this.draw();
    this.changed();
  }

  /** @returns {Point} px of the upright picture */
  get size() {
    return this.card?.size ?? [1, 1];
  }

  // px of the upright picture to px of the host, at zoom 1 the whole picture fits
  get scale() {
    const [width, height] = this.size;
    return Math.min(this.host.clientWidth / width, this.host.clientHeight / height) * this.zoom;
  }

  lay() {
    if (!this.card) return;
    const [width, height] = this.size;
    const scale = this.scale;
    const x = this.host.clientWidth / 2 - this.center[0] * width * scale;
    const y = this.host.clientHeight / 2 - this.center[1] * height * scale;
    this.sheet.style.width = `${width}px`;
    this.sheet.style.height = `${height}px`;
    this.sheet.style.transform = `translate(${x}px, ${y}px) scale(${scale})`;
    this.sheet.classList.toggle("pixels", scale * devicePixelRatio > 2);
    this.sheet.style.setProperty("--unit", `${1 / scale}`);
    this.host.dataset.zoom = this.zoom.toFixed(3);
    layBar(inside(this.host, ".bar"), (this.card.px_per_mm ?? 0) * scale);
  }

  whole() {
    this.zoom = 1;
    this.center = [0.5, 0.5];
    this.lay();
  }

  /**
   * @param {number} factor
   * @param {MouseEvent} [at] what is under it stays under it
   */
  zoomBy(factor, at) {
    const zoom = Math.min(ZOOM_MAX, Math.max(1, this.zoom * factor));
    if (at) {
      const [u, v] = this.under(at);
      const share = this.zoom / zoom;
      this.center = [u + (this.center[0] - u) * share, v + (this.center[1] - v) * share];
    }
    this.zoom = zoom;
    if (zoom === 1) this.center = [0.5, 0.5];
    this.lay();
  }

  /**
   * @param {number} x px of the screen
   * @param {number} y
   */
  panBy(x, y) {
    const [width, height] = this.size;
    const clamp = (/** @type {number} */ value) => Math.min(1, Math.max(0, value));
    this.center = [clamp(this.center[0] + x / (width * this.scale)), clamp(this.center[1] + y / (height * this.scale))];
    this.lay();
  }

  // where a pointer is in the picture, as shares of its width and height
  /**
   * @param {MouseEvent} event
   * @returns {Point}
   */
  under(event) {
    const box = this.host.getBoundingClientRect();
    const [width, height] = this.size;
    return [
      this.center[0] + (event.clientX - box.left - box.width / 2) / (width * this.scale),
      this.center[1] + (event.clientY - box.top - box.height / 2) / (height * this.scale),
    ];
  }

  /** @param {WheelEvent} event */
  wheel(event) {
    if (!this.card) return;
    event.preventDefault();
    this.zoomBy(event.deltaY < 0 ? ZOOM_STEP : 1 / ZOOM_STEP, event);
  }

  /** @param {PointerEvent} event */
  press(event) {
    if (!this.card || event.button !== 0) return;
    this.host.setPointerCapture(event.pointerId);
    const start = this.under(event);
    let last = event;
    const move = (/** @type {PointerEvent} */ now) => {
      if (this.ruling) {
        this.ruler = [start, this.under(now)];
        this.draw();
      } else {
        this.panBy(last.clientX - now.clientX, last.clientY - now.clientY);
      }
      last = now;
    };
    this.host.addEventListener("pointermove", move);
    this.host.addEventListener("pointerup", () => this.host.removeEventListener("pointermove", move), { once: true });
  }

  rule() {
    this.ruling = !this.ruling;
    if (!this.ruling) this.ruler = null;
    this.host.classList.toggle("ruling", this.ruling);
    this.draw();
    this.changed();
  }

  /** @param {number} index of a finding; -1 for none */
  mark(index) {
    this.marked = index;
    this.draw();
  }

  // bring a finding's place into the middle, near enough to be judged
  /** @param {number} index of a finding */
  goTo(index) {
    const points = this.findings[index]?.points ?? [];
    this.mark(index);
    if (!points.length) return;
    const middle = [0, 1].map((axis) => points.reduce((sum, point) => sum + point[axis], 0) / points.length);
    this.center = [middle[0] / this.size[0], middle[1] / this.size[1]];
    this.zoom = Math.max(this.zoom, PLACE_ZOOM);
    this.lay();
  }

  // none of a blind round's
  get findings() {
    return this.card && !this.card.blind ? this.card.findings : [];
  }

  draw() {
    this.marks.replaceChildren();
    if (!this.card) return;
    this.marks.setAttribute("viewBox", `0 0 ${this.size.join(" ")}`);
    this.marks.append(...outlineMarks(this.card, this.shows));
    if (this.shows.marks) this.marks.append(...this.findings.flatMap((one, k) => findingMarks(one, k === this.marked)));
    if (!this.ruler) return;
    const { marks, length } = rulerMarks(this.card, this.ruler);
    this.marks.append(...marks);
    this.host.dataset.ruler = length;
  }
}
