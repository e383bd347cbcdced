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
 * @param {FindingLine} finding
 * @param {boolean} here the one gone to
 */
function findingMarks({ outcome, points }, here) {
  const marks = [];
  const kind = `${outcome ? "flagged" : "plain"}${here ? " here" : ""}`;
  if (points.length > 1) {
    marks.push(drawn("polyline", { class: kind, points: points.map((point) => point.join(",")).join(" ") }));
  }
  if (points.length === 1 || (here && points.length)) {
    const [cx, cy] = points[Math.floor(points.length / 2)];
    marks.push(drawn("circle", { class: kind, cx, cy }));
  }
  return marks;
}

/**
 * @param {Card} card
 * @param {Point[]} ends in shares of the picture
 */
function rulerMarks(card, ends) {
  const [a, b] = ends.map(([u, v]) => [u * card.size[0], v * card.size[1]]);
  const px = Math.hypot(a[0] - b[0], a[1] - b[1]);
  const length = card.px_per_mm ? `${(px / card.px_per_mm).toFixed(2)} mm` : `${px.toFixed(0)} px (no station was filed)`;
  const marks = [
    drawn("line", { class: "ruler", x1: a[0], y1: a[1], x2: b[0], y2: b[1] }),
    drawn("text", { class: "ruler-words", x: b[0], y: b[1] }, length),
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
