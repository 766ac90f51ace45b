// The one connection to the panel's server. It opens itself again after it was lost.
// Where the twin is in the page itself, host_sim/site/page/line.js stands in its place.

const AGAIN_MS = 1000;

export class Line {
  /** take(frame) gets every frame, tell(open) whether there is a connection. */
  constructor(take, tell) {
    this.take = take;
    this.tell = tell;
    this.closed = false;
    this.socket = null;
  }

  open() {
    const secure = location.protocol === "https:" ? "wss:" : "ws:";
    this.socket = new WebSocket(`${secure}//${location.host}/live`);
    this.socket.onopen = () => this.tell(true);
    this.socket.onmessage = (event) => this.take(JSON.parse(event.data));
    this.socket.onclose = () => {
      this.tell(false);
      if (!this.closed) setTimeout(() => this.open(), AGAIN_MS);
    };
  }

  /** Where the report of a saved drive is; its other files are on the disk of the server. */
  addressOf({ name }) {
    return `drives/${name}`;
  }

  /** Close for good. */
  close() {
    this.closed = true;
    this.socket.close();
  }

  send(...command) {
    if (this.socket?.readyState === WebSocket.OPEN) this.socket.send(JSON.stringify(command));
  }
}
