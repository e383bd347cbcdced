// The picture: frames by address, marks as SVG above them, zoom and pan that stay put from piece to piece.

const SVG = "http://www.w3.org/2000/svg";
const FLICKER_MS = 500; // two changes a second: WCAG 2 allows three flashes
const ZOOM_STEP = 1.25;
const ZOOM_MAX = 40;
const PLACE_ZOOM = 5;

function drawn(name, attributes, words) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  if (words !== undefined) element.textContent = words;
  return element;
}

// Pictures on their way or here, by address; the oldest go first.
class Pictures {
  constructor() {
    this.held = new Map();
  }

  get(url) {
    let picture = this.held.get(url);
    if (!picture) {
      const image = new Image();
      image.alt = "";
      image.draggable = false;
      picture = { image, ready: false, failed: "" };
      picture.done = new Promise((done) => {
        image.onload = () => image.decode().catch(() => {}).finally(() => {
          picture.ready = true;
          done(picture);
        });
        image.onerror = async () => {
          picture.failed = await fetch(url).then((a) => a.text(), () => "this picture can't be fetched");
          done(picture);
        };
      });
      image.src = url;
      this.held.set(url, picture);
      if (this.held.size > 160) this.held.delete(this.held.keys().next().value);
    }
    return picture;
  }
}

class Stage {
  constructor(host, changed) {
    this.host = host;
    this.changed = changed;
    this.pictures = new Pictures();
    this.sheet = host.querySelector(".sheet");
    this.frame = host.querySelector(".frame");
    this.marks = host.querySelector(".marks");
    this.words = host.querySelector(".stage-words");
    this.light = 0;
    this.before = 0;
    this.zoom = 1;
    this.center = [0.5, 0.5];
    this.shows = { marks: true, outline: false, deviations: false };
    this.ruling = false;
    this.card = null;
    new ResizeObserver(() => this.lay()).observe(host);
    host.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    host.addEventListener("pointerdown", (event) => this.press(event));
  }

  // A picture that failed is asked for again when its piece is shown anew: the disk may be back.
  retry(card) {
    for (const { url } of card.lights) if (this.pictures.held.get(url)?.failed) this.pictures.held.delete(url);
  }

  // Whether the picture of a card is here, so that it can be shown at once.
  ready(card) {
    const light = card.lights[this.lightOf(card)];
    return !light || this.pictures.get(light.url).ready || Boolean(this.pictures.get(light.url).failed);
  }

  lightOf(card) {
    return Math.min(this.light, Math.max(0, card.lights.length - 1));
  }

  fetch(card) {
    if (card.lights.length) this.pictures.get(card.lights[this.lightOf(card)].url);
  }

  fetchAll(card) {
    for (const light of card.lights) this.pictures.get(light.url);
  }

  show(card) {
    if (card !== this.card) this.retry(card);
    this.card = card;
    this.ruler = null;
    this.stopFlicker();
    this.setLight(this.lightOf(card), true);
    this.draw();
    this.lay();
  }

  setLight(index, same) {
    const card = this.card;
    if (!card || !card.lights.length) {
      this.frame.replaceChildren();
      this.host.dataset.shown = card ? "none" : "";
      this.words.textContent = card ? "No picture of this piece: it was not found in its frames, or none were filed." : "";
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
    this.beat = null;
  }

  toggle(what) {
    this.shows[what] = !this.shows[what];
    this.draw();
    this.changed();
  }

  // px of the upright picture to px of the host, at zoom 1 the whole picture fits
  get scale() {
    const [width, height] = this.card.size;
    return Math.min(this.host.clientWidth / width, this.host.clientHeight / height) * this.zoom;
  }

  lay() {
    if (!this.card) return;
    const [width, height] = this.card.size;
    const scale = this.scale;
    const x = this.host.clientWidth / 2 - this.center[0] * width * scale;
    const y = this.host.clientHeight / 2 - this.center[1] * height * scale;
    this.sheet.style.width = `${width}px`;
    this.sheet.style.height = `${height}px`;
    this.sheet.style.transform = `translate(${x}px, ${y}px) scale(${scale})`;
    this.sheet.classList.toggle("pixels", scale * devicePixelRatio > 2);
    this.sheet.style.setProperty("--unit", `${1 / scale}`);
    this.host.dataset.zoom = this.zoom.toFixed(3);
    this.bar();
  }

  whole() {
    this.zoom = 1;
    this.center = [0.5, 0.5];
    this.lay();
  }

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

  panBy(x, y) {
    const [width, height] = this.card.size;
    const clamp = (value) => Math.min(1, Math.max(0, value));
    this.center = [clamp(this.center[0] + x / (width * this.scale)), clamp(this.center[1] + y / (height * this.scale))];
    this.lay();
  }

  // where a pointer is in the picture, as shares of its width and height
  under(event) {
    const box = this.host.getBoundingClientRect();
    const [width, height] = this.card.size;
    return [
      this.center[0] + (event.clientX - box.left - box.width / 2) / (width * this.scale),
      this.center[1] + (event.clientY - box.top - box.height / 2) / (height * this.scale),
    ];
  }

  wheel(event) {
    if (!this.card) return;
    event.preventDefault();
    this.zoomBy(event.deltaY < 0 ? ZOOM_STEP : 1 / ZOOM_STEP, event);
  }

  press(event) {
    if (!this.card || event.button !== 0) return;
    this.host.setPointerCapture(event.pointerId);
    const start = this.under(event);
    let last = event;
    const move = (now) => {
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

  mark(index) {
    this.marked = index;
    this.draw();
  }

  // bring a finding's place into the middle, near enough to be judged
  goTo(index) {
    const points = this.card.findings[index]?.points ?? [];
    this.mark(index);
    if (!points.length) return;
    const middle = [0, 1].map((axis) => points.reduce((sum, point) => sum + point[axis], 0) / points.length);
    this.center = [middle[0] / this.card.size[0], middle[1] / this.card.size[1]];
    this.zoom = Math.max(this.zoom, PLACE_ZOOM);
    this.lay();
  }

  draw() {
    const card = this.card;
    this.marks.replaceChildren();
    if (!card) return;
    this.marks.setAttribute("viewBox", `0 0 ${card.size[0]} ${card.size[1]}`);
    if (this.shows.deviations && card.deviations) {
      this.marks.append(
        drawn("path", { class: "inward", d: card.deviations.inward, "fill-rule": "evenodd" }),
        drawn("path", { class: "outward", d: card.deviations.outward, "fill-rule": "evenodd" }),
      );
    }
    if ((this.shows.outline || this.shows.deviations) && card.outline) {
      this.marks.append(drawn("path", { class: "nominal", d: card.outline }));
    }
    if (this.shows.marks) (card.findings ?? []).forEach((finding, index) => this.drawFinding(finding, index));
    if (this.ruler) this.drawRuler();
  }

  drawFinding(finding, index) {
    if (!finding.points.length) return;
    const here = index === this.marked;
    const kind = `${finding.outcome ? "flagged" : "plain"}${here ? " here" : ""}`;
    if (finding.points.length > 1) {
      this.marks.append(drawn("polyline", { class: kind, points: finding.points.map((p) => p.join(",")).join(" ") }));
    }
    if (here || finding.points.length === 1) {
      const at = finding.points[Math.floor(finding.points.length / 2)];
      this.marks.append(drawn("circle", { class: kind, cx: at[0], cy: at[1] }));
    }
  }

  drawRuler() {
    const [width, height] = this.card.size;
    const [a, b] = this.ruler.map(([u, v]) => [u * width, v * height]);
    const px = Math.hypot(a[0] - b[0], a[1] - b[1]);
    const length = this.card.px_per_mm ? `${(px / this.card.px_per_mm).toFixed(2)} mm` : `${px.toFixed(0)} px (no station was filed)`;
    this.marks.append(
      drawn("line", { class: "ruler", x1: a[0], y1: a[1], x2: b[0], y2: b[1] }),
      drawn("text", { class: "ruler-words", x: b[0], y: b[1] }, length),
    );
    this.host.dataset.ruler = length;
  }

  // a bar of a round length at the foot, so that sizes can be judged by eye
  bar() {
    const bar = this.host.querySelector(".bar");
    bar.hidden = !this.card.px_per_mm;
    if (bar.hidden) return;
    const perMm = this.card.px_per_mm * this.scale;
    const length = [0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50].find((mm) => mm * perMm >= 60) ?? 50;
    bar.style.width = `${length * perMm}px`;
    bar.textContent = `${length} mm`;
  }
}
