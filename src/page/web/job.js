// The job as the library gets it: what a person has only begun is left out until it says something.

/** Fewer matching places than this do not say how a photo lies. */
const LEAST_PAIRS = 2;

/** A copy of the job without half-told choices. */
export function planned(job) {
  const next = structuredClone(job);
  for (const holder of [next, ...(next.stamp ?? []), ...(next.piece ?? [])]) whole(holder);
  return next;
}

/** Takes what is half told out of what says where colors come from: the job, a stamp, or a piece. */
function whole(next) {
  const short = (holder) => { if (holder.match && holder.match.length < LEAST_PAIRS) delete holder.match; };
  short(next);
  // One source may have no places of its own: it gets all the others. A second one without is just being told.
  let rest = false;
  const told = (source) => {
    if (source.cells?.length > 0) return true;
    const first = !rest;
    rest = true;
    return first;
  };
  if (Array.isArray(next.reference)) {
    next.reference.forEach(short);
    next.reference = next.reference.filter(told);
  } else if (next.reference) rest = true;
  if (next.part) {
    const kept = next.part.filter(told);
    const names = new Set(kept.map((p) => p.name));
    for (const part of kept) {
      const over = [part.over ?? []].flat().filter((name) => names.has(name));
      if (over.length > 0) part.over = over; else delete part.over;
    }
    if (kept.length > 0) next.part = kept; else delete next.part;
  }
}
