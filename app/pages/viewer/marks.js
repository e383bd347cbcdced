// What is drawn over the picture: the drawing's outline, deviations, findings, the ruler. Places in px of the upright picture.

/**
 * @param {Card} card
 * @param {{ outline: boolean, deviations: boolean }} shows
 */
function outlineMarks(card, shows) {
  const marks = [];
  if (shows.deviations && !card.blind && card.deviations) {
    for (const side of /** @type {const} */ (["inward", "outward"])) {
      marks.push(drawn("path", { class: side, d: card.deviations[side], "fill-rule": "evenodd" }));
    }
  }
  if ((shows.outline || shows.deviations) && card.outline) marks.push(drawn("path", { class: "nominal", d: card.outline }));
  return marks;
}

/**
 * Corners around a place, never a line over it.
 * @param {[number, number, number, number]} box left, top, right, bottom
 * @param {number} away how far from it they stand
 * @param {string} kind
 */
function brackets([left, top, right, bottom], away, kind) {
  const [x0, y0, x1, y1] = [left - away, top - away, right + away, bottom + away];
  const arm = Math.min(x1 - x0, y1 - y0) / 3;
  const d = [
    [x0, y0, 1, 1],
    [x1, y0, -1, 1],
    [x1, y1, -1, -1],
    [x0, y1, 1, -1],
  ].map(([x, y, a, b]) => `M${x + a * arm} ${y}H${x}V${y + b * arm}`).join("");
  return [drawn("path", { class: `halo ${kind}`, d }), drawn("path", { class: kind, d })];
}

/**
 * @param {FindingLine} finding
 * @param {boolean} here the one gone to
 * @param {number} unit px of the picture for one of the screen
 */
function findingMarks({ outcome, points }, here, unit) {
  if (!points.length) return [];
  const kind = `${outcome ? "flagged" : "plain"}${here ? " here" : ""}`;
  const marks = brackets(boxAround(points, (outcome ? 26 : 10) * unit), (outcome ? 5 : 3) * unit, kind);
  return outcome || here ? marks : marks.slice(1);
}

/**
 * What the frames could not show of the face.
 * @param {Card} card
 */
function blindMarks(card) {
  if (card.blind) return [];
  return card.blind_areas.map(({ ring, words }) => {
    const area = drawn("polygon", { class: "unseen", points: ring.map((point) => point.join(",")).join(" ") });
    area.append(drawn("title", {}, words));
    return area;
  });
}

/**
 * @param {Card} card
 * @param {Point[]} ends in shares of the picture
 * @param {boolean} turned
 */
function rulerMarks(card, ends, turned) {
  const [a, b] = ends.map(([u, v]) => [u * card.size[0], v * card.size[1]]);
  const px = Math.hypot(a[0] - b[0], a[1] - b[1]);
  const length = card.px_per_mm ? `${(px / card.px_per_mm).toFixed(2)} mm` : `${px.toFixed(0)} px (no station was filed)`;
  const marks = [
    drawn("line", { class: "ruler", x1: a[0], y1: a[1], x2: b[0], y2: b[1] }),
    drawn("text", { class: "ruler-words", x: b[0], y: b[1], ...(turned ? { transform: `rotate(-90 ${b[0]} ${b[1]})` } : {}) }, length),
  ];
  return { marks, length };
}

/**
 * What is to be known of deviations drawn larger.
 * @param {Card | null} card
 */
function magnifiedWords(card) {
  if (!card || card.blind) return "";
  if (!card.deviations) return "No deviations along the outline were filed for this piece.";
  return `Deviations drawn ${card.deviations.times} times larger; orange outside the line: too much metal; pale inside it: metal missing`;
}

/**
 * A bar of a round length at the picture's foot, so that sizes can be judged by eye; none where no scale is known.
 * @param {HTMLElement} bar
 * @param {number} perMm px of the screen
 */
function layBar(bar, perMm) {
  bar.hidden = !perMm;
  const length = [0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50].find((mm) => mm * perMm >= 60) ?? 50;
  bar.style.width = `${length * perMm}px`;
  bar.textContent = `${length} mm`;
}
