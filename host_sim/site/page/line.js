// The line to the twin that is in this page: messages to its worker, frames from it.

export class Line {
  /** take(frame) gets every frame, tell(open) whether there is a connection. */
  constructor(take, tell) {
    this.take = take;
    this.tell = tell;
    this.files = new Map(); // what was saved, by name; it is gone with the page
  }

  open() {
    this.worker = new Worker("worker.js", { type: "module" });
    this.worker.onmessage = ({ data }) => this.hear(data);
    this.worker.onerror = (event) => this.hear({ failed: event.message || "it cannot be loaded" });
    this.take({ loading: "starting" });
  }

  hear({ loading, failed, file, frames }) {
    if (loading) this.take({ loading });
    if (failed) this.take({ loading: "", lost: `the twin failed: ${failed}` });
    if (file) this.keep(file);
    if (!frames) return;
    if (!this.heard) this.tell(true);
    this.heard = true;
    for (const frame of JSON.parse(frames)) this.take(frame);
  }

  keep({ name, type, text }) {
    const before = this.files.get(name);
    if (before) URL.revokeObjectURL(before);
    this.files.set(name, URL.createObjectURL(new Blob([text], { type })));
  }

  /** Where a file of a saved drive is. */
  addressOf({ name }, file) {
    return this.files.get(`${name}/${file}`);
  }

  /** Close for good. */
  close() {
    this.worker.terminate();
  }

  send(...command) {
    this.worker?.postMessage(JSON.stringify(command));
  }
}
