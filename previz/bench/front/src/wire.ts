// The socket: small messages both ways, connected again by itself. What was not acknowledged is kept and sent again.

import type { FromServer, ToServer } from "./protocol";

const SOCKET = "api/socket";
const FIRST_WAIT_MS = 300;
const LONGEST_WAIT_MS = 8000;
/** What a server that closes says when it wants a code first (RFC 6455: 4000 to 4999 are for private use). */
const NOT_PAIRED = 4401;

export interface WireEvents {
  opened(): void;
  message(message: FromServer): void;
  closed(notPaired: boolean): void;
}

export class Wire {
  private socket: WebSocket | null = null;
  private wait = FIRST_WAIT_MS;
  private timer: ReturnType<typeof setTimeout> | undefined;
  private over = false;

  constructor(private readonly events: WireEvents) {
    addEventListener("online", () => this.connect());
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState === "visible") this.connect();
    });
  }

  connect(): void {
    if (this.over || (this.socket && this.socket.readyState <= WebSocket.OPEN)) return;
    clearTimeout(this.timer);
    const address = new URL(SOCKET, location.href);
    address.protocol = address.protocol === "https:" ? "wss:" : "ws:";
    address.hash = "";
    const socket = new WebSocket(address);
    this.socket = socket;
    socket.onopen = () => {
      this.wait = FIRST_WAIT_MS;
      this.events.opened();
    };
    socket.onmessage = (event) => this.events.message(JSON.parse(event.data as string) as FromServer);
    socket.onclose = (event) => {
      if (socket !== this.socket) return;
      this.socket = null;
      this.events.closed(event.code === NOT_PAIRED);
      if (event.code === NOT_PAIRED) this.over = true;
      else this.timer = setTimeout(() => this.connect(), this.wait);
      this.wait = Math.min(this.wait * 1.7, LONGEST_WAIT_MS);
    };
  }

  /** Send at once where the socket is open; say whether it was. */
  send(message: ToServer): boolean {
    if (this.socket?.readyState !== WebSocket.OPEN) return false;
    this.socket.send(JSON.stringify(message));
    return true;
  }
}
