// What axe-core finds wrong on this page, and which texts it found to have contrast enough: judged are those alone
// that are not `known`.
async ({ known, options }) => {
  // The contrast of a text hangs on its colour, size, weight and shadow, on what makes it paler, and on whatever is
  // painted where it stands: around it or from elsewhere, in which order, over how much of it.
  const usual = {
    opacity: "1", filter: "none", mixBlendMode: "normal", position: "static", zIndex: "auto", overflow: "visible",
    clipPath: "none", transform: "none",
  };
  const bare = { backgroundColor: "rgba(0, 0, 0, 0)", backgroundImage: "none" };
  const drawn = "img, svg, canvas, video";
  const box = "input:not([type=hidden], [type=radio], [type=checkbox]), select, textarea";
  const everywhere = { left: -Infinity, top: -Infinity, right: Infinity, bottom: Infinity };
  const unlike = (style, expected) => Object.keys(expected).filter((name) => style[name] !== expected[name])
    .map((name) => name + style[name]).join();
  const lines = (text) => {
    const range = document.createRange();
    range.selectNode(text);
    return [...range.getClientRects()];
  };
  const painted = [];
  const texts = [];
  const walk = (one, around) => {
    const style = getComputedStyle(one);
    // What is folded away has a place, but is not painted.
    if (style.display !== "contents" && !one.checkVisibility()) return;
    const chain = around + unlike(style, usual);
    const ground = unlike(style, bare) + (one.matches(drawn) ? one.tagName : "");
    const at = one.matches(":root, body") ? everywhere : one.getBoundingClientRect();
    if (ground) painted.push({ at, what: ground + chain });
    const words = [...one.childNodes].filter((child) => child instanceof Text && child.data.trim());
    if (words.length || one.matches(box)) {
      const { color, webkitTextFillColor, webkitTextStroke, textShadow, fontSize, fontWeight } = style;
      const ink = [color, webkitTextFillColor, webkitTextStroke, textShadow, fontSize, fontWeight, chain].join();
      texts.push({ one, ink, places: one.matches(box) ? [at] : words.flatMap(lines) });
    }
    for (const child of one.children) walk(child, chain);
  };
  const touches = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
  const holds = (a, b) => a.left <= b.left && b.right <= a.right && a.top <= b.top && b.bottom <= a.bottom;
  const contrastOf = ({ ink, places }) => [
    ink,
    ...painted.filter(({ at }) => places.some((place) => touches(at, place)))
      .map(({ at, what }) => what + (places.every((place) => holds(at, place)) ? "all" : "part")),
  ].join("|");

  // What the bar at the foot covers for now comes out by scrolling: sizes are measured without it.
  const bars = document.querySelectorAll(".do");
  for (const bar of bars) bar.style.position = "static";
  walk(document.documentElement, "");
  const seen = new Set(known);
  const judged = new Map();
  for (const text of texts) {
    const contrast = contrastOf(text);
    if (!seen.has(contrast)) judged.set(text.one, contrast);
  }
  for (const one of judged.keys()) one.setAttribute("data-judged", "");
  axe.configure({ rules: [{ id: "color-contrast", selector: "[data-judged]" }] });
  axe.addReporter("wrong and good", (found, more, done) => {
    const contrast = found.find((rule) => rule.id === "color-contrast");
    const good = contrast.passes.map(({ node }) => judged.get(node.element));
    axe.getReporter("v1")(found, more, ({ violations }) => done({ violations, good }));
  });
  const told = await axe.run({ ...options, reporter: "wrong and good" });
  for (const one of judged.keys()) one.removeAttribute("data-judged");
  for (const bar of bars) bar.style.position = "";
  return told;
}
