// Files from this device, put beside the scene file: a mesh for the set, a photo of the bench to check it by.

import type { Bench, Mount } from "../bench";
import { Ends, h } from "../dom";
import type { Change, Fault, Point } from "../protocol";
import { faultWords, inSentences, rowsOf } from "../words";

/** What the server takes at most (previz/bench/guard.py): a larger one would be cut off on its way. */
const MOST_BYTES = 50_000_000;

interface Uploaded {
  file: string;
  bytes: number;
}
interface Kind {
  kind: "mesh" | "photo";
  title: string;
  says: string;
  accept: string;
  /** What can be done with it now that it is there. */
  then(bench: Bench, file: string, fault: HTMLElement): HTMLElement[];
}

const KINDS: Kind[] = [
  { kind: "mesh", title: "A mesh for the set", says: "Something that was scanned or modelled, as STL, OBJ, PLY or GLB: it stands in the set as a prop, or is the set itself.", accept: ".stl,.obj,.ply,.glb", then: meshThen },
  { kind: "photo", title: "A photo of the bench", says: "PNG or JPEG, whole and uncropped, through the lens or beside it: what you mark in it says where camera and lamp really stand.", accept: "image/png,image/jpeg", then: photoThen },
];

export const files: Mount = (host, bench) => {
  const element = h("div", { class: "bringing" }, ...KINDS.map((kind) => bringing(bench, kind)));
  host.append(element);
  return new Ends().paper(element);
};

function bringing(bench: Bench, { kind, title, says, accept, then }: Kind): HTMLElement {
  const id = `bring-${kind}`;
  const input = h("input", { id, type: "file", accept, "aria-describedby": `${id}-says`, onchange: () => void bring() });
  const share = h("progress", { max: 1, value: 0, "aria-label": `${title}: sent so far` });
  const stop = h("button", { type: "button" }, "Stop");
  const sending = h("div", { class: "row", hidden: true }, share, stop);
  const fault = h("p", { class: "fault", role: "alert" });
  const told = h("div", { class: "brought", role: "status" });
  return h("div", { class: "bring" }, h("label", { for: id }, h("strong", {}, title)), h("p", { class: "quiet", id: `${id}-says` }, says), input, sending, fault, told);

  async function bring(): Promise<void> {
    const file = input.files?.[0];
    if (!file) return;
    fault.textContent = "";
    told.replaceChildren();
    share.value = 0;
    sending.hidden = false;
    input.disabled = true;
    try {
      const { file: name } = await sent(kind, file, (part) => (share.value = part), (end) => (stop.onclick = end));
      told.replaceChildren(h("p", {}, "It lies beside the scene file as ", h("strong", {}, name), "."), ...then(bench, name, fault));
    } catch (wrong) {
      fault.textContent = wrong instanceof Error ? wrong.message : String(wrong);
    } finally {
      sending.hidden = true;
      input.disabled = false;
      // the same file can be chosen again, put right
      input.value = "";
    }
  }
}

/** Send a file, telling how much of it has gone; what the server says against it is thrown. */
function sent(kind: string, file: File, progress: (share: number) => void, stopper: (stop: () => void) => void): Promise<Uploaded> {
  if (file.size > MOST_BYTES) throw new Error(`${file.name} has ${Math.ceil(file.size / 1e6)} MB; ${MOST_BYTES / 1e6} MB are taken at most. Save it smaller and choose it again.`);
  return new Promise((resolve, reject) => {
    // fetch tells nothing of how much it has sent
    const request = new XMLHttpRequest();
    request.open("POST", `api/upload?${new URLSearchParams({ kind, name: file.name.slice(-200) })}`);
    request.responseType = "json";
    request.upload.onprogress = ({ loaded, total }) => progress(loaded / (total || 1));
    request.onload = () => {
      const answer = request.response as (Partial<Uploaded> & { says?: string }) | null;
      if (request.status === 200 && answer?.file) resolve(answer as Uploaded);
      else reject(new Error(answer?.says ? inSentences(answer.says) : `The server answered ${request.status}.`));
    };
    request.onerror = () => reject(new Error("The server could not be reached. Choose the file again when it is there."));
    request.onabort = () => reject(new Error("Stopped; nothing was put beside the scene file."));
    stopper(() => request.abort());
    request.send(file);
  });
}

function meshThen(bench: Bench, file: string, fault: HTMLElement): HTMLElement[] {
  const put = async (change: () => Change, says: string, chosen: () => string[]): Promise<void> => {
    fault.textContent = "";
    const outcome = await bench.edit([change()], says);
    if (outcome.done === "refused") fault.textContent = outcome.faults.map((one: Fault) => faultWords(one)).join(" ");
    if (outcome.done !== "accepted") return;
    bench.chosen.set(chosen());
    buttons.replaceChildren(h("p", {}, "It stands there now. Its scale, units and place can be typed under “the thing”."));
  };
  let name = "";
  const asProp = (): Change => {
    const [low, high] = bench.drawing.get()?.bounds ?? [[0, 0, 0] as Point, [0, 0, 0] as Point];
    name = freeName(bench, file.replace(/\.[^.]*$/, ""));
    return { key: ["prop", name], to: { kind: "mesh", file, at: [Math.round((low[0] + high[0]) / 2), Math.round((low[1] + high[1]) / 2), 0] } };
  };
  const buttons = h("div", { class: "buttons" },
    h("button", { type: "button", class: "strong", onclick: () => void put(asProp, `Stand ${file} in the set`, () => ["prop", name]) }, "Stand it in the set"),
    h("button", { type: "button", onclick: () => void put(() => ({ key: ["mesh", "file"], to: file }), `Take ${file} as the set`, () => ["mesh"]) }, "Take it as the set itself"));
  return [buttons];
}

function photoThen(bench: Bench, file: string): HTMLElement[] {
  const { file: scene } = bench.scene.get();
  const typed = (text: string): HTMLElement => h("pre", { class: "told" }, text);
  return [
    h("p", {}, "In the folder of the scene file, first have every name written that can be marked; then write beside those that you see where they lie in the photo, and ask:"),
    typed(`previz asshot ${quoted(scene)} --blank points.toml`),
    typed(`previz asshot ${quoted(scene)} --photo ${quoted(file)} --points points.toml`),
  ];
}

const quoted = (name: string): string => (/^[\w.-]+$/.test(name) ? name : `"${name}"`);

/** A name that nothing in the file has. */
function freeName(bench: Bench, wish: string): string {
  const { scene } = bench.scene.get();
  const taken = new Set(["room", "opening", "prop", "lamp"].flatMap((table) => rowsOf(scene, table).map(({ name }) => name)));
  let [name, number] = [wish, 2];
  while (taken.has(name)) name = `${wish} ${number++}`;
  return name;
}
