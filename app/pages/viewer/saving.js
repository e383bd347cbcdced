// What became of what was said at this browser, in words for whoever sits at it.

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
  const unsent = link.waiting;
  const trouble = link.trouble ? ` (${link.trouble})` : "";
  const waits = `${unsent ? `${unsent} not saved yet` : "nothing is lost"}${trouble}`;
  const own = unsent || trouble ? `\u25B2 ${waits}` : "\u2713 all saved";
  /** @type {Record<string, number>} */
  const ofOthers = {};
  for (const { outbox } of link.senders) {
    for (const [name, count] of Object.entries(outbox.ofOthers(link.inspector))) ofOthers[name] = (ofOthers[name] ?? 0) + count;
  }
  const others = Object.entries(ofOthers).map(
    ([name, count]) => `; \u25B2 ${count} of ${name} not saved yet: they are sent once ${name} is chosen here`,
  );
  return `${own} as ${link.inspector} (${knownBy})${others.join("")}`;
}

/**
 * What the server could not take, each to be put away once it was read.
 * @param {Link} link
 * @param {() => void} changed
 */
function refusedLines({ verdicts, labels }, changed) {
  return [
    ...verdicts.outbox.refused().map((one) => refusedLine(one, VERDICT_WORDS[one.said.verdict], verdicts.outbox, changed)),
    ...labels.outbox.refused().map((one) => refusedLine(one, LABEL_WORDS[one.said.label], labels.outbox, changed)),
  ];
}

/**
 * @template {{ uid: string }} Said
 * @param {Unsent<Said>} one
 * @param {string} words what was said
 * @param {Outbox<Said>} outbox
 * @param {() => void} changed
 */
function refusedLine({ inspector, name, said, refused }, words, outbox, changed) {
  const button = made("button", { type: "button" }, "read");
  button.setAttribute("aria-label", `read: ${name}`);
  button.onclick = () => {
    outbox.remove(said.uid);
    changed();
  };
  return made("li", {}, `\u2717 ${name}, ${words} by ${inspector}, was not taken: ${refused} `, button);
}
