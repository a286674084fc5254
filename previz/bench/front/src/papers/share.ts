// Another device on the same bench: an address and a code that counts once, as words and as a symbol for its camera.

import type { Mount } from "../bench";
import { Ends, h, svg } from "../dom";
import type { Invitation } from "../protocol";

export const share: Mount = (host, bench) => {
  const ends = new Ends();
  const shown = h("div", { class: "invitation" });
  const button = h("button", { onclick: () => void invite() }, "Let another device in");
  const how = h("p", { class: "quiet" });
  const element = h("div", { class: "share" }, how, button, shown);
  host.append(element);

  ends.add(
    bench.share.on((open) => {
      button.hidden = !open;
      how.textContent = open
        ? "A tablet or phone in the same network can work on this file too. Share only in a network that you trust."
        : "This bench is open to this computer alone. To work from a tablet beside the set too, start it with --share.";
    }),
  );

  async function invite(): Promise<void> {
    try {
      const { address, code, link, expires_s, qr } = await bench.fetchJson<Invitation>("api/share", { method: "POST" });
      shown.replaceChildren(symbol(qr, link), h("p", {}, "Open ", h("strong", {}, address), " there and type ", h("strong", { class: "code" }, code), "."), h("p", { class: "quiet" }, `The code counts once, for ${Math.round(expires_s / 60)} minutes.`));
      setTimeout(() => shown.replaceChildren(), 1000 * expires_s);
    } catch (fault) {
      bench.say(fault instanceof Error ? fault.message : String(fault), "assertive");
    }
  }

  return ends.paper(element);
};

/** The rows bring the light border that a camera needs. */
function symbol(rows: number[][], link: string): SVGElement {
  const side = rows.length;
  const dark = rows.flatMap((row, y) => row.map((one, x) => (one ? `M${x} ${y}h1v1h-1z` : ""))).join("");
  return svg("svg", { class: "symbol", viewBox: `0 0 ${side} ${side}`, role: "img", "aria-label": `QR symbol of the address ${link.split("#")[0]} with the code` }, svg("rect", { width: side, height: side, fill: "#fff" }), svg("path", { d: dark, fill: "#000" }));
}
