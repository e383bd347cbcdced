// Pictures on their way or here, by address; the oldest go first.
const HELD = 160;

/** @typedef {{ image: HTMLImageElement, ready: boolean, failed: string, done: Promise<void> }} Picture */

class Pictures {
  constructor() {
    /** @type {Map<string, Picture>} */
    this.held = new Map();
  }

  /**
   * When all of some pictures are here; null where they are.
   * @param {{ url: string }[]} asked
   */
  late(asked) {
    const late = asked.map(({ url }) => this.get(url)).filter(({ ready, failed }) => !ready && !failed);
    return late.length ? Promise.all(late.map(({ done }) => done)) : null;
  }

  /** @param {string} url */
  get(url) {
    const held = this.held.get(url);
    if (held) return held;
    const image = new Image();
    image.alt = "";
    image.draggable = false;
    /** @type {Picture} */
    const picture = { image, ready: false, failed: "", done: Promise.resolve() };
    picture.done = new Promise((done) => {
      image.onload = () => image.decode().catch(() => {}).finally(() => {
        picture.ready = true;
        done();
      });
      image.onerror = async () => {
        picture.failed = await fetch(url).then((answer) => answer.text(), () => "this picture can't be fetched");
        done();
      };
    });
    image.src = url;
    this.held.set(url, picture);
    if (this.held.size > HELD) this.held.delete([...this.held.keys()][0]);
    return picture;
  }
}
