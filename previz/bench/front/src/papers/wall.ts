import type { Mount } from "../bench";
import { h } from "../dom";

export const wall: Mount = (host) => {
  const element = h("p", { class: "empty" }, "Nothing is drawn here yet.");
  host.append(element);
  return { element, dispose: () => element.remove() };
};
