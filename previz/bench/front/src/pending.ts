// Edits on their way: kept until the server has answered, over lost connections and reloads of the page.

import type { Outcome } from "./bench";
import type { ToServer } from "./protocol";

export type Ask = Extract<ToServer, { id: string }>;
const KEPT = "previz.pending";

interface Waiting {
  ask: Ask;
  resolve(outcome: Outcome): void;
}

export class Pending {
  private readonly waiting = new Map<string, Waiting>();

  constructor() {
    for (const ask of JSON.parse(sessionStorage.getItem(KEPT) ?? "[]") as Ask[]) this.waiting.set(ask.id, { ask, resolve: () => undefined });
  }

  /** Asks in the order in which they were made. */
  all(): Ask[] {
    return [...this.waiting.values()].map(({ ask }) => ask);
  }

  get(id: string): Ask | undefined {
    return this.waiting.get(id)?.ask;
  }

  add(ask: Ask): Promise<Outcome> {
    return new Promise((resolve) => {
      this.waiting.set(ask.id, { ask, resolve });
      this.keep();
    });
  }

  /** The same wish asked again under another id: whoever waits for the first waits for the second. */
  again(id: string, ask: Ask): void {
    const resolve = this.waiting.get(id)?.resolve ?? (() => undefined);
    this.waiting.delete(id);
    this.waiting.set(ask.id, { ask, resolve });
    this.keep();
  }

  answer(id: string, outcome: Outcome): void {
    const found = this.waiting.get(id);
    this.waiting.delete(id);
    this.keep();
    found?.resolve(outcome);
  }

  private keep(): void {
    sessionStorage.setItem(KEPT, JSON.stringify(this.all()));
  }
}
