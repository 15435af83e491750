// In place of d3-transition, which d3-zoom brings: nothing on the board moves by itself, so there is nothing to interrupt.
import { selection } from 'd3-selection';

export function interrupt() {}
selection.prototype.interrupt = function still() { return this; };
