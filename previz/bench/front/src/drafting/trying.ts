// What is being moved on one drawing and is not in the file yet: all drawings show it where it is.

import type { Bench } from "../bench";
import type { Change } from "../protocol";
import { type Signal, signal } from "../signal";

const byBench = new WeakMap<Bench, Signal<Change[]>>();

export function trying(bench: Bench): Signal<Change[]> {
  let found = byBench.get(bench);
  if (!found) byBench.set(bench, (found = signal<Change[]>([])));
  return found;
}
