// Talk with the server: small questions in JSON, pictures as a header and samples behind it.

const tab = Array.from(crypto.getRandomValues(new Uint32Array(2)), (each) => each.toString(36)).join("");

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

// One pane's questions: at most one under way, and of those that wait the newest alone.
export class Looker {
  constructor(letter, seen, failed) {
    this.client = `${tab}-${letter}`;
    this.seen = seen;
    this.failed = failed;
    this.number = 0;
    this.shown = 0;
    this.next = null;
    this.busy = false;
    this.kept = null;
  }

  look(question) {
    this.number += 1;
    this.next = { ...question, number: this.number, client: this.client };
    if (!this.busy) this.run();
  }

  get idle() {
    return !this.busy && !this.next;
  }

  // What is under way will be too old when it comes.
  forget() {
    this.number += 1;
    this.shown = this.number;
    this.next = null;
    this.kept = null;
  }

  async run() {
    this.busy = true;
    while (this.next) {
      const question = { ...this.next, have: this.kept ? this.kept.optical : null };
      this.next = null;
      try {
        const answer = await this.once(question);
        this.take(answer, question);
        if (answer.waiting && !this.next) {
          await new Promise((done) => setTimeout(done, 100));
          if (!this.next && question.number > this.shown - 1) this.next = question;
        }
      } catch (fault) {
        this.failed(fault);
      }
    }
    this.busy = false;
  }

  async once(question) {
    const answer = await fetch("look", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(question) });
    if (!answer.ok) throw new Error(`the server says: ${(await answer.text()).trim()}`);
    const kind = answer.headers.get("content-type") || "";
    return kind.startsWith("application/json") ? answer.json() : parsed(await answer.arrayBuffer());
  }

  // An answer that is older than what is shown is dropped.
  take(answer, question) {
    if (answer.superseded || question.number < this.shown) return;
    this.shown = question.number;
    if (answer.picture) {
      if (answer.electrons) this.kept = { optical: answer.optical, codes: answer.codes, largest_e: answer.largest_e };
      answer.codes = this.kept.codes;
      answer.largest_e = this.kept.largest_e;
    }
    this.seen(answer);
  }
}
