// The scenes of the last revisions: a drawing is of one of them, and what has moved since is laid over it until the next drawing comes.

import type { Change, Scene, SceneDoc } from "../protocol";
import { rowsOf, valueOf } from "./values";

const KEPT = 12;
/** Keys whose change a drawing can show by itself, by moving or sizing what is drawn. */
const SHOWN: Record<string, string[]> = { lamp: ["at", "toward"], prop: ["at"], opening: ["at", "size"], shot: ["from", "to", "look", "lamps"] };

export class Scenes {
  private readonly byRev = new Map<number, Scene>();

  keep(doc: SceneDoc): void {
    this.byRev.set(doc.rev, doc.scene);
    for (const rev of [...this.byRev.keys()].slice(0, -KEPT)) this.byRev.delete(rev);
  }

  /** The scene that a drawing of this revision shows, and what the newest has moved since. */
  drawn(rev: number, newest: SceneDoc): { scene: Scene; since: Change[] } {
    const scene = this.byRev.get(rev) ?? newest.scene;
    return { scene, since: since(scene, newest.scene) };
  }
}

function since(then: Scene, now: Scene): Change[] {
  if (then === now) return [];
  const keys = Object.entries(SHOWN).flatMap(([table, names]) => rowsOf(now, table).flatMap((row) => names.map((name) => [table, row.name ?? "", name])));
  return [...keys, ["slider", "from"], ["slider", "to"]].flatMap((key) => {
    const to = valueOf(now, [], key);
    return to !== undefined && JSON.stringify(to) !== JSON.stringify(valueOf(then, [], key)) ? [{ key, to }] : [];
  });
}
