// The page begins here: the code where the server asks for one, and the bench.

import { layOut, type Sheet } from "./layout";
import { findings } from "./papers/findings";
import { history } from "./papers/history";
import { jobs } from "./papers/jobs";
import { lens } from "./papers/lens";
import { plan } from "./papers/plan";
import { section } from "./papers/section";
import { strip } from "./papers/strip";
import { walk } from "./papers/walk";
import { wall } from "./papers/wall";
import { placeSays } from "./says";
import { makeBench } from "./state";

const SHEETS: Sheet[] = [
  { name: "lens", title: "The picture through the lens", mount: lens },
  { name: "time", title: "The take in time", mount: strip },
  { name: "plan", title: "Plan, seen from above", mount: plan },
  { name: "section", title: "Section, seen from the side", mount: section },
  { name: "wall", title: "A wall, seen from outside", mount: wall },
  { name: "findings", title: "Findings", mount: findings },
  { name: "walk round", title: "Walk round the set", mount: walk },
  { name: "papers", title: "Papers, pictures and answers to make", mount: jobs },
  { name: "history", title: "History of the file", mount: history },
];

async function begin(): Promise<void> {
  const bench = makeBench();
  placeSays(document.body);
  layOut(document.body, bench, SHEETS);
  await bench.start();
}

void begin();
