// The page begins here: the code where the server asks for one, and the bench.

import { placeBar } from "./bar";
import { listenToKeys } from "./keyboard";
import { layOut, type Sheet } from "./layout";
import { files } from "./papers/files";
import { findings } from "./papers/findings";
import { history } from "./papers/history";
import { jobs } from "./papers/jobs";
import { lens } from "./papers/lens";
import { plan } from "./papers/plan";
import { share } from "./papers/share";
import { section } from "./papers/section";
import { strip } from "./papers/strip";
import { thing } from "./papers/thing";
import { walk } from "./papers/walk";
import { wall } from "./papers/wall";
import { placeQuestion } from "./question";
import { pairing } from "./pair";
import { placeSays, said } from "./says";
import { makeBench } from "./state";
import { followTheme } from "./theme";

const SHEETS: Sheet[] = [
  { name: "lens", title: "The picture through the lens", mount: lens },
  { name: "time", title: "The take in time", mount: strip },
  { name: "plan", title: "Plan, seen from above", mount: plan },
  { name: "section", title: "Section, seen from the side", mount: section },
  { name: "wall", title: "A wall, seen from outside", mount: wall },
  { name: "findings", title: "Findings", mount: findings },
  { name: "the thing", title: "Every key of the thing that is chosen", mount: thing },
  { name: "walk round", title: "Walk round the set", mount: walk },
  { name: "papers", title: "Papers, pictures and answers to make", mount: jobs },
  { name: "files", title: "Photos and meshes from this device", mount: files },
  { name: "history", title: "History of the file", mount: history },
  { name: "share", title: "Another device on this bench", mount: share },
];

async function begin(): Promise<void> {
  followTheme();
  if (location.pathname.endsWith("/pair")) return pairing(document.body);
  const bench = makeBench();
  placeSays(document.body);
  placeBar(document.body, bench);
  layOut(document.body, bench, SHEETS);
  placeQuestion(document.body, bench);
  listenToKeys(bench);
  await bench.start();
}

begin().catch((fault: unknown) => said(`The bench cannot be shown: ${fault instanceof Error ? fault.message : String(fault)}`, "assertive"));
