// Measures a page from outside: every piece of text with its box, what overlaps it (text or a bar), what is cut off, and the gate marks.
// `page` is the window of the page. A pixel of overlap or overhang is let pass: boxes of glyphs touch.
function measure(page) {
  const slack = 1, doc = page.document, pieces = [], cut = [];
  const walker = doc.createTreeWalker(doc.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(), n = 0; node; node = walker.nextNode(), n++) {
    const holder = node.parentElement;
    if (!node.data.trim() || holder.closest("style, script") || !holder.getClientRects().length) continue;
    const range = doc.createRange();
    range.selectNodeContents(node);
    for (const box of range.getClientRects()) {
      if (box.width < 0.5 || box.height < 0.5) continue;
      pieces.push({n, box, words: node.data.trim().slice(0, 60)});
      if (outside(page, holder, box, slack)) cut.push(node.data.trim().slice(0, 60));
    }
  }
  const overlaps = [];
  for (const bar of doc.querySelectorAll("svg rect")) {
    const box = bar.getBoundingClientRect();
    if (box.width && box.height && !bar.closest("pattern, defs")) pieces.push({n: -1, box, words: "a bar"});
  }
  pieces.sort((a, b) => a.box.top - b.box.top);
  for (let i = 0; i < pieces.length; i++) {
    for (let j = i + 1; j < pieces.length && pieces[j].box.top < pieces[i].box.bottom - slack; j++) {
      const a = pieces[i].box, b = pieces[j].box;
      const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      if (pieces[i].n !== pieces[j].n && wide > slack && high > slack) overlaps.push([pieces[i].words, pieces[j].words]);
    }
  }
  const root = doc.documentElement, texts = pieces.filter(piece => piece.n >= 0);
  return {
    width: root.clientWidth, scrolls: root.scrollWidth - root.clientWidth, pieces: texts.length, overlaps, cut,
    smallest: Math.min(...texts.map(piece => piece.box.height)), pictures: pictures(doc),
  };
}

// Beyond the page, beyond the nearest block that holds it, or beyond any ancestor that hides or scrolls what overflows.
function outside(page, holder, box, slack) {
  const beyond = (edge, vertical) => box.left < edge.left - slack || box.right > edge.right + slack ||
    (vertical && (box.top < edge.top - slack || box.bottom > edge.bottom + slack));
  const moved = holder.closest(".drawing");  // a drawing that a finger moves sideways holds its words where it reaches
  if (moved && page.getComputedStyle(moved).overflowX === "auto") {
    const edge = moved.getBoundingClientRect();
    return box.left - edge.left + moved.scrollLeft > moved.scrollWidth || outside(page, moved.parentElement, edge, slack);
  }
  if (box.left < -slack || box.right > page.document.documentElement.clientWidth + slack || box.top < -slack) return true;
  let block = true;
  for (let at = holder; at && at !== page.document.documentElement; at = at.parentElement) {
    const style = page.getComputedStyle(at), edge = at.getBoundingClientRect();
    const html = at.namespaceURI === "http://www.w3.org/1999/xhtml";
    if (html && block && style.display !== "inline") {
      block = false;
      if (beyond(edge, false)) return true;
    }
    if ((html || at.tagName === "svg") && style.overflow !== "visible" && beyond(edge, true)) return true;
  }
  return false;
}

// Each visible picture with a time axis: its ticks and gate marks, by time of the run, where they came to lie.
function pictures(doc) {
  const middle = box => (box.left + box.right) / 2;
  return [...doc.querySelectorAll("svg[data-start-s]")].filter(svg => svg.getClientRects().length).map(svg => ({
    ticks: [...svg.querySelectorAll("[data-time-s]")].map(mark => [+mark.dataset.timeS, middle(mark.getBoundingClientRect())]),
    gates: [...svg.querySelectorAll("[data-gate-on-s]")].map(mark =>
      [+mark.dataset.halfCycle, mark.getBoundingClientRect().left, mark.getBoundingClientRect().right]),
  }));
}
