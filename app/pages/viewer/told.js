// What the bench tells of itself around the picture: what waits, what is saved, which views are on; and where nothing is shown, why.

/** @type {WeakSet<Viewer>} */
const telling = new WeakSet();

/** @param {Viewer} viewer whatever changes several times at one key is told once, when all of it is done */
function tellSoon(viewer) {
  if (telling.has(viewer)) return;
  telling.add(viewer);
  queueMicrotask(() => {
    telling.delete(viewer);
    tellAll(viewer);
  });
}

/** @param {Viewer} viewer tell anew how all of it stands */
function tellAll(viewer) {
  const { link, panel, pieces, root, stage } = viewer;
  const { data, progress } = pieces;
  if (!data) return;
  const unsent = link.waiting;
  const saved = viewer.find(".saved");
  saved.textContent = savedWords(link, data.known_by);
  saved.classList.toggle("waiting", Boolean(unsent || link.trouble));
  const refused = refusedLines(link, () => tellAll(viewer));
  viewer.find(".not-taken").hidden = !refused.length;
  viewer.find(".not-taken").replaceChildren(...refused);
  root.dataset.unsent = String(unsent);
  viewer.find(".progress").textContent = progressWords(data.mode, progress);
  const { given } = viewer.labels;
  viewer.find(".labelled").textContent = given ? `${given} given` : "";
  panel.lit();
  const { deviations, outline, marks, blind } = stage.shows;
  const shows = { f: stage.beat > 0, d: deviations, o: outline, h: marks, m: stage.ruling, v: blind };
  viewer.bright.value = String(Math.log(stage.brightness));
  for (const [key, on] of Object.entries({ ...shows, t: panel.showsTray, l: viewer.dark })) {
    viewer.find(`.views [data-key="${key}"]`).setAttribute("aria-pressed", String(on));
  }
  viewer.find(".magnified").textContent = deviations ? magnifiedWords(viewer.card) : "";
  panel.recent(viewer.given.shown(), viewer.given.choosing);
  panel.chooser(viewer.defects !== null, viewer.defects ?? new Set());
}

/**
 * Why no piece is shown.
 * @param {Viewer} viewer
 * @param {string} words a line for each paragraph
 * @param {string} [offer] what can be done about it
 */
function tellNothing(viewer, words, offer = "") {
  const host = viewer.find(".empty-state");
  host.replaceChildren(...words.split("\n").map((line) => made("p", {}, line)));
  if (offer) {
    const button = made("button", { type: "button", className: "offer" }, made("kbd", {}, "X"), ` ${offer}`);
    button.onclick = () => viewer.takeOffer();
    host.append(button);
  }
  if (!viewer.card) {
    host.hidden = false;
    viewer.root.classList.add("nothing");
  }
}

/**
 * How long the next piece took to be on the screen: until the frame after the one that drew it.
 * @param {HTMLElement} root
 * @param {number} pressed when, in ms of the page's clock
 */
function tellSwitch(root, pressed) {
  const { piece } = root.dataset;
  requestAnimationFrame(() => requestAnimationFrame(() => {
    if (piece && piece === root.dataset.piece) root.dataset.switchMs = (performance.now() - pressed).toFixed(1);
  }));
}

/**
 * Streamlit says that its server is lost in a dialog that takes pointer and touch from the page. The bench says so in its
 * own line and goes on, so that such a dialog is closed as it comes (main.py keeps it from being seen).
 */
function closeDialogs() {
  const watch = new MutationObserver(() => {
    for (const button of document.querySelectorAll('[data-testid="stDialog"] button[aria-label="Close"]')) {
      /** @type {HTMLElement} */ (button).click();
    }
  });
  watch.observe(document.body, { childList: true });
  return watch;
}
