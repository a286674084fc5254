// Keys that work anywhere on the bench. In a field, undo is the field's own.

import type { Bench } from "./bench";

const typing = (target: EventTarget | null): boolean =>
  target instanceof HTMLTextAreaElement || (target instanceof HTMLInputElement && !["range", "checkbox", "radio", "button"].includes(target.type));

export function listenToKeys(bench: Bench): void {
  addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.altKey || typing(event.target)) return;
    const key = event.key.toLowerCase();
    if (key === "z" && !event.shiftKey) void bench.undo();
    else if (key === "y" || (key === "z" && event.shiftKey)) void bench.redo();
    else return;
    event.preventDefault();
  });
}
