// The section: the set cut upright through what the first shot focuses on.

import { setPaper } from "../drafting/setpaper";

export const section = setPaper("section");
