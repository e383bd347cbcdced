// What became of the verdicts given at this browser, in words for whoever sits at it.

/** @param {Card} card what people call the piece; in a blind round its running number and no more */
function pieceName(card) {
  return card.blind ? `number ${card.number}` : `${card.tray}, piece ${card.piece}`;
}

/**
 * Whether all is saved, as whose, and what of others waits here.
 * @param {Link} link
 * @param {string} knownBy how sure it is who sits here
 */
function savedWords(link, knownBy) {
  const unsent = link.unsent.length;
  const trouble = link.trouble ? ` (${link.trouble})` : "";
  const waits = `${unsent ? `${unsent} not saved yet` : "nothing is lost"}${trouble}`;
  const own = unsent || trouble ? `\u25B2 ${waits}` : "\u2713 all saved";
  const others = Object.entries(link.outbox.ofOthers(link.inspector)).map(
    ([name, count]) => `; \u25B2 ${count} of ${name} not saved yet: they are sent once ${name} is chosen here`,
  );
  return `${own} as ${link.inspector} (${knownBy})${others.join("")}`;
}

/**
 * The verdicts that the server could not take, each to be put away once it was read.
 * @param {Outbox} outbox
 * @param {() => void} changed
 */
function refusedLines(outbox, changed) {
  return outbox.refused().map(({ inspector, name, verdict, refused }) => {
    const button = made("button", { type: "button" }, "read");
    button.setAttribute("aria-label", `read: ${name}`);
    button.onclick = () => {
      outbox.remove(verdict.uid);
      changed();
    };
    return made("li", {}, `\u2717 ${name}, ${VERDICT_WORDS[verdict.verdict]} by ${inspector}, was not taken: ${refused} `, button);
  });
}
