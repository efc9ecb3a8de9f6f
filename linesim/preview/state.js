// What a link restores: the changes of B and A, seed and view. It lives in the URL's fragment.

export function fresh() {
  return { changes: {}, pinned: null, seed: 0, view: null, tone: "auto", show: "picture", beside: "side", square: false, putIn: false };
}

function put(query, letter, changes) {
  for (const key of Object.keys(changes).sort()) query.set(`${letter}.${key}`, JSON.stringify(changes[key]));
}

function taken(query, letter) {
  const found = {};
  for (const [name, text] of query) {
    if (!name.startsWith(`${letter}.`)) continue;
    try {
      const value = JSON.parse(text);
      if (["string", "number", "boolean"].includes(typeof value)) found[name.slice(2)] = value;
    } catch {
      // a damaged link restores what can be read of it
    }
  }
  return found;
}

export function toFragment(state) {
  const query = new URLSearchParams();
  put(query, "b", state.changes);
  if (state.pinned) {
    query.set("pin", "1");
    put(query, "a", state.pinned);
  }
  if (state.seed) query.set("seed", String(state.seed));
  if (state.view) query.set("view", [state.view.x, state.view.y, state.view.zoom].map((each) => Number(each.toPrecision(6))).join(","));
  if (state.tone !== "auto") query.set("tone", state.tone);
  if (state.show !== "picture") query.set("show", state.show);
  if (state.beside !== "side") query.set("beside", state.beside);
  if (state.square) query.set("square", "1");
  if (state.putIn) query.set("put", "1");
  return query.toString();
}

export function fromFragment(text) {
  const query = new URLSearchParams(text.replace(/^#/, ""));
  const state = fresh();
  state.changes = taken(query, "b");
  state.pinned = query.get("pin") === "1" ? taken(query, "a") : null;
  const seed = Number(query.get("seed"));
  if (Number.isSafeInteger(seed) && seed >= 0) state.seed = seed;
  const [x, y, zoom] = (query.get("view") || "").split(",").map(Number);
  if ([x, y, zoom].every(Number.isFinite) && zoom > 0) state.view = { x, y, zoom };
  if (["full", "a", "b"].includes(query.get("tone"))) state.tone = query.get("tone");
  if (query.get("show") === "snr") state.show = "snr";
  if (["wipe", "blink"].includes(query.get("beside"))) state.beside = query.get("beside");
  state.square = query.get("square") === "1";
  state.putIn = query.get("put") === "1";
  return state;
}

// Undo takes back what was set, not where one looked.
export class Past {
  constructor() {
    this.before = [];
    this.after = [];
    this.last = { what: null, when: 0 };
  }

  static of(state) {
    return JSON.stringify([state.changes, state.pinned, state.seed]);
  }

  // One drag of a slider is one step.
  note(state, what) {
    const now = Date.now();
    if (this.last.what !== what || now - this.last.when > 800) {
      this.before.push(Past.of(state));
      if (this.before.length > 200) this.before.shift();
    }
    this.after = [];
    this.last = { what, when: now };
  }

  step(state, from, to) {
    if (!from.length) return false;
    to.push(Past.of(state));
    [state.changes, state.pinned, state.seed] = JSON.parse(from.pop());
    this.last = { what: null, when: 0 };
    return true;
  }

  undo(state) {
    return this.step(state, this.before, this.after);
  }

  redo(state) {
    return this.step(state, this.after, this.before);
  }
}
