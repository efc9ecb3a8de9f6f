// Verdicts, cautions and figures as the server words them; nothing is worked out here.

function element(name, text, kind) {
  const node = document.createElement(name);
  if (text !== undefined) node.textContent = text;
  if (kind) node.className = kind;
  return node;
}

const typeset = (text) => text.replace(/(\d )u(?=[ms]\b)/g, "$1µ").replace(/([\dmx]) x (?=\d)/g, "$1 × ");

const able = ["line rate", "link", "exposure", "clipping"];
const marks = { "met": "✓ met", "missed": "✗ MISSED", "cannot run": "■ CANNOT RUN" };
const kindOf = (state) => state.replace(" ", "-");

const signs = { "met": "✓", "missed": "✗", "cannot run": "■" };

export function outcome(into, b, a) {
  const lines = (a ? [["A", a], ["B", b]] : [["B", b]]).map(([letter, told]) => {
    const { state, word, text, besides } = told.outcome;
    const line = element("p", undefined, kindOf(state));
    line.append(element("strong", `${a ? `${letter}: ` : ""}${signs[state]} ${word}:`), ` ${typeset(text)}`);
    if (besides) line.append(element("small", ` ${besides}`));
    return line;
  });
  // said again only where it has changed: it is read aloud
  if (into.textContent !== lines.map((line) => line.textContent).join("") || into.childElementCount !== lines.length) into.replaceChildren(...lines);
}

const worst = ["cannot run", "missed", "met"];

export function verdicts(into, b, a) {
  into.replaceChildren();
  const all = [...b.judged.map((row) => ["B", row]), ...(a ? a.judged : []).map((row) => ["A", row])];
  // what is not met comes first
  all.sort(([, one], [, other]) => worst.indexOf(one.state) - worst.indexOf(other.state));
  for (const [letter, row] of all) {
    const line = element("p", undefined, kindOf(row.state));
    line.append(element("strong", `${a ? `${letter}: ` : ""}${marks[row.state]}`), ` ${row.label}: ${typeset(row.text)} (${typeset(row.margin)})`);
    into.append(line);
  }
  if (b.judged.every((row) => able.includes(row.label.split(",")[0]))) into.append(element("p", "The setup asks for nothing else: give it a smallest_defect or an snr under [requirement].", "soft"));
}

export function cautions(into, b, a) {
  const own = new Map(b.figures.cautions.map((each) => [each.code, each]));
  const pinned = new Set(a ? a.figures.cautions.map((each) => each.code) : []);
  into.replaceChildren();
  for (const { code, text } of own.values()) {
    const item = element("li");
    item.append(element("code", code), ` ${typeset(text)}`);
    if (a && !pinned.has(code)) item.append(element("small", " B alone"));
    into.append(item);
  }
  for (const { code, text } of a ? a.figures.cautions : []) {
    if (own.has(code)) continue;
    const item = element("li", undefined, "soft");
    item.append(element("code", code), ` ${typeset(text)}`, element("small", " A alone"));
    into.append(item);
  }
  if (!into.childElementCount) into.append(element("li", "None for this setup.", "soft"));
}

export function figures(into, b, a) {
  into.replaceChildren();
  for (const [group, rows] of Object.entries(b.rows)) {
    const table = element("table");
    table.dataset.group = group;
    table.append(element("caption", group));
    if (a) {
      const head = table.createTHead().insertRow();
      head.append(element("td"));
      for (const text of ["A", "B"]) {
        const cell = element("th", text);
        cell.scope = "col";
        head.append(cell);
      }
    }
    const others = new Map((a ? a.rows[group] : []).map(([label, colour, text]) => [`${label} ${colour}`, text]));
    const body = table.createTBody();
    for (const [label, colour, text] of rows) {
      const line = body.insertRow();
      const head = element("th", colour ? `${label}, ${colour}` : label);
      head.scope = "row";
      const other = others.get(`${label} ${colour}`);
      line.append(head);
      if (a) line.append(element("td", other === undefined ? "" : typeset(other), other === text ? "soft" : ""));
      line.append(element("td", typeset(text)));
    }
    if (rows.length) into.append(table);
  }
}

export function readings(into, panes, place) {
  into.replaceChildren();
  for (const [letter, pane] of panes) {
    const found = place && pane.sample(place);
    const line = into.insertRow();
    const head = element("th", letter);
    head.scope = "row";
    line.append(head);
    const told = found ? [
      found.each.map((each) => each.dn).join(" / ") + " DN",
      found.each.map((each) => each.expected.toPrecision(4)).join(" / ") + " e",
      found.each.map((each) => each.snr.toPrecision(3)).join(" / "),
    ] : ["–", "–", "–"];
    for (const text of told) line.append(element("td", text));
  }
}
