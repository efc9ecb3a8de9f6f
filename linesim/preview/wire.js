// Talk with the server: small questions in JSON, pictures as a header and samples behind it.

const tab = Array.from(crypto.getRandomValues(new Uint32Array(2)), (each) => each.toString(36)).join("");
const patience = 400; // ms after which a newer question goes out beside an older one, which it ends

export async function ask(path, body) {
  const options = body === undefined ? {} : { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) };
  const answer = await fetch(path, options);
  if (!answer.ok) throw new Error(`the server says: ${(await answer.text()).trim()}`);
  return answer.json();
}

export async function send(path, file) {
  const answer = await fetch(path, { method: "POST", headers: { "content-type": "application/octet-stream" }, body: file });
  if (!answer.ok) throw new Error(`the server says: ${(await answer.text()).trim()}`);
  return answer.json();
}

function parsed(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const header = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  if (header.picture) {
    const { lines, columns, channels } = header.picture;
    const count = lines * columns * channels;
    header.image = new Uint16Array(buffer, 4 + length, count);
    if (header.electrons) header.codes = new Uint16Array(buffer, 4 + length + 2 * count, count);
  }
  return header;
}

async function once(question) {
  const answer = await fetch("look", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(question) });
  if (!answer.ok) throw new Error(`the server says: ${(await answer.text()).trim()}`);
  const kind = answer.headers.get("content-type") || "";
  return kind.startsWith("application/json") ? answer.json() : parsed(await answer.arrayBuffer());
}

// Questions of one kind: as a rule one under way, and of those that wait the newest alone.
class Lane {
  constructor(looker) {
    this.looker = looker;
    this.next = null;
    this.under = 0;
    this.begun = 0;
    this.timer = null;
    this.kept = null;
  }

  get idle() {
    return !this.under && !this.next;
  }

  put(question) {
    this.next = question;
    clearTimeout(this.timer);
    const waited = performance.now() - this.begun;
    if (!this.under || waited > patience) this.run();
    else this.timer = setTimeout(() => { if (this.next) this.run(); }, patience - waited);
  }

  drop() {
    this.next = null;
    this.kept = null;
  }

  async run() {
    const question = { ...this.next, have: this.kept ? this.kept.optical : null };
    this.next = null;
    this.under += 1;
    this.begun = performance.now();
    try {
      const answer = await once(question);
      this.electrons(answer);
      this.looker.take(answer, question);
      if (answer.waiting && !this.next) {
        await new Promise((done) => setTimeout(done, 100));
        if (!this.next && question.number === this.looker.number) this.next = question;
      }
    } catch (fault) {
      this.looker.failed(fault);
    }
    this.under -= 1;
    if (this.next && !this.under) this.run();
  }

  // Electrons that were sent before are not sent again.
  electrons(answer) {
    if (!answer.picture) return;
    if (answer.electrons) this.kept = { optical: answer.optical, codes: answer.codes, largest_e: answer.largest_e };
    else if (this.kept && this.kept.optical === answer.optical) Object.assign(answer, { codes: this.kept.codes, largest_e: this.kept.largest_e });
  }
}

// One pane's questions: quick ones while something moves, exact ones once it rests.
export class Looker {
  constructor(letter, seen, failed) {
    this.client = `${tab}-${letter}`;
    this.seen = seen;
    this.failed = failed;
    this.number = 0;
    this.shown = 0;
    this.exact = new Lane(this);
    this.quick = new Lane(this);
  }

  numbered(question) {
    this.number += 1;
    return { ...question, number: this.number, client: this.client };
  }

  look(question) {
    this.quick.next = null;
    this.exact.put(this.numbered(question));
  }

  glance(question) {
    this.exact.next = null;
    this.quick.put({ ...this.numbered(question), coarse: true });
  }

  get idle() {
    return this.exact.idle && this.quick.idle;
  }

  // What is under way will be too old when it comes.
  forget() {
    this.number += 1;
    this.shown = this.number;
    this.exact.drop();
    this.quick.drop();
  }

  // An answer that is older than what is shown is dropped.
  take(answer, question) {
    if (answer.superseded || question.number < this.shown) return;
    this.shown = question.number;
    this.seen(answer);
  }
}
