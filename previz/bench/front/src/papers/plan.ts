// The plan: the set seen from above, cut where the engine cuts it, with everything that stands round it.

import { setPaper } from "../drafting/setpaper";

export const plan = setPaper("plan");
