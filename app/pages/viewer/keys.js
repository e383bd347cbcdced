// What a key means: one table, for the keyboard and for the buttons that carry a key's name.

const PAN_PX = 80;
/** @type {Record<string, [number, number]>} */
const MOVES = { left: [-PAN_PX, 0], right: [PAN_PX, 0], up: [0, -PAN_PX], down: [0, PAN_PX] };
/** @type {Record<string, number>} */
const ZOOMS = { "+": ZOOM_STEP, "=": ZOOM_STEP, "-": 1 / ZOOM_STEP };
const BOXES = "input, textarea, select, [contenteditable=true], [role=combobox], [role=listbox] *";
const WITHOUT_PIECE = ["u", "b", "l", "x", "?", "escape", "r", "a", "c"]; // the others mean nothing while nothing is shown

const REJECT_BEGUN = "A reject is begun: R confirms it, Esc goes back.";
const NOT_WHILE_REJECTING = ["a", "s", "u", "b"]; // they would say of the piece what the person did not mean

/** @type {Record<string, (viewer: Viewer, pressed: number) => void>} */
const KEYS = {
  a: (viewer, pressed) => viewer.verdict("accept", [], pressed),
  r: (viewer, pressed) => viewer.reject(pressed),
  enter: (viewer, pressed) => viewer.defects !== null && viewer.reject(pressed),
  escape: (viewer) => viewer.back(),
  u: (viewer) => viewer.takeBack(),
  b: (viewer) => viewer.chooseTaken(),
  s: (viewer) => viewer.putOff(),
  n: (viewer) => viewer.note.focus(),
  f: (viewer) => viewer.stage.flicker(),
  d: (viewer) => viewer.stage.toggle("deviations"),
  o: (viewer) => viewer.stage.toggle("outline"),
  v: (viewer) => viewer.stage.toggle("blind"),
  "[": (viewer) => viewer.stage.brighten(viewer.stage.brightness / BRIGHT_STEP),
  "]": (viewer) => viewer.stage.brighten(viewer.stage.brightness * BRIGHT_STEP),
  h: (viewer) => viewer.stage.toggle("marks"),
  m: (viewer) => viewer.stage.rule(),
  t: (viewer) => viewer.toggleTray(),
  l: (viewer) => viewer.toggleDark(),
  j: (viewer) => viewer.panel.goTo(viewer.panel.at + 1),
  k: (viewer) => viewer.panel.goTo(viewer.panel.at - 1),
  w: (viewer, pressed) => viewer.label("mark", pressed),
  e: (viewer, pressed) => viewer.label("none", pressed),
  x: (viewer) => viewer.takeOffer(),
  0: (viewer) => viewer.stage.whole(),
  "?": (viewer) => viewer.toggleHelp(),
  c: () => {}, // Streamlit would offer to clear its caches
};

// The number pad alone is enough to judge, and so is a pedal that sends its keys: by position, whatever the pad prints.
/** @type {Record<string, string>} */
const PAD = { NumpadEnter: "a", Numpad0: "r", NumpadDecimal: "u", NumpadMultiply: "s", NumpadDivide: "j" };
/** @type {Record<string, string>} */
const POSITIONS = { BracketLeft: "[", BracketRight: "]", Equal: "+", Minus: "-", Slash: "?" };

/**
 * Do what a key says; whether it meant anything. A key held down pans and zooms, but never judges.
 * @param {Viewer} viewer
 * @param {string} name as `keyName` gives it
 * @param {number} pressed when, in ms of the page's clock
 * @param {boolean} repeated the key is held down
 */
function act(viewer, name, pressed, repeated = false) {
  const digit = /^[1-9]$/.test(name);
  if (!viewer.card && !WITHOUT_PIECE.includes(name) && !(viewer.given.choosing && digit)) return false;
  if (Object.hasOwn(MOVES, name)) {
    if (viewer.stage.view.zoom === 1) return false; // the page may scroll
    viewer.stage.panBy(...MOVES[name]);
    return true;
  }
  if (Object.hasOwn(ZOOMS, name)) {
    viewer.stage.zoomBy(ZOOMS[name]);
    return true;
  }
  if (!digit && !Object.hasOwn(KEYS, name)) return false;
  if (repeated) return true;
  if (viewer.defects !== null && NOT_WHILE_REJECTING.includes(name)) {
    viewer.tell(REJECT_BEGUN);
    return true;
  }
  if (digit) viewer.digit(Number(name) - 1);
  else KEYS[name](viewer, pressed);
  return true;
}

/**
 * A key anywhere on the page: what is written into a box stays there.
 * @param {Viewer} viewer
 * @param {KeyboardEvent} event
 */
function press(viewer, event) {
  if (!viewer.root.isConnected) {
    viewer.stop();
    return;
  }
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const name = keyName(event);
  if (event.composedPath()[0] === viewer.note) {
    if (name !== "enter" && name !== "escape") return;
    viewer.root.focus({ preventScroll: true });
    event.preventDefault();
    return;
  }
  if (isWithin(event, BOXES)) return;
  if ((name === "enter" || name === " ") && isWithin(event, "button, a, summary")) return;
  if (!act(viewer, name, event.timeStamp, event.repeat)) return;
  event.preventDefault();
  event.stopImmediatePropagation();
}

/**
 * One word for each key: a letter in lower case, or left, right, up, down, enter, escape ... A key whose letter means
 * nothing here, as on a keyboard of another script, goes by its position.
 * @param {KeyboardEvent} event
 */
function keyName(event) {
  const { code } = event;
  if (code && Object.hasOwn(PAD, code)) return PAD[code];
  const name = event.key.toLowerCase().replace("arrow", "");
  const means = Object.hasOwn(KEYS, name) || Object.hasOwn(MOVES, name) || Object.hasOwn(ZOOMS, name) || /^[ -~]$/.test(name);
  if (means || !code || event.key.length > 1) return name;
  const [, letter] = /^(?:Key|Digit)(.)$/.exec(code) ?? [];
  return letter?.toLowerCase() ?? POSITIONS[code] ?? name;
}

/**
 * Whether a key was pressed on an element of the page that a selector names.
 * @param {KeyboardEvent} event
 * @param {string} selector
 */
function isWithin(event, selector) {
  const target = event.composedPath()[0];
  return target instanceof Element && target.matches(selector);
}
