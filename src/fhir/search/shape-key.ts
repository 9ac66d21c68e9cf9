/** By what the shapes of resources of one frame are told apart: what their holes say of it, in short. */
import { type Filling, isHole, isOpen } from '../../json/skeleton.ts';
import { isJson, isQuantity, isThere, tokensOf, unitOf } from './extract.ts';
import type { SearchParameter } from './resource-type.ts';
import { isOneValue, makerOf, type Spot } from './spots.ts';

/** What of a parameter is part of the shape; undefined where that is the same for all resources of the frame. */
type ShapeKeyReader = (spots: readonly Spot[]) => ((filling: Filling) => string) | undefined;

export function shapeKeyReader(parameter: SearchParameter): ShapeKeyReader {
  const madeAt = makerOf((values) => inShape(parameter, values));
  return (spots) => {
    const open = spots.filter(({ node }) => isOpen(node));
    if (open.length === 0) return undefined;
    const { home, name } = parameter;
    if (home === 'value' && open.every(isUnitFixed)) return numbersIn(open);
    if (home === 'shape' || home === 'value') return madeAt(spots);
    if (home !== 'word' && home !== 'subject') return undefined;
    return name !== 'patient' && spots.some(isOneValue) ? undefined : madeAt(spots);
  };
}

function inShape(parameter: SearchParameter, values: readonly unknown[]): string {
  if (parameter.home === 'shape') return JSON.stringify(tokensOf(parameter, values));
  if (parameter.home === 'value') return JSON.stringify(unitOf(values.find(isQuantity)));
  return isThere(parameter, values) ? 'there' : '';
}

/** Whether only its number is open. */
function isUnitFixed(spot: Spot): boolean {
  const { node } = spot;
  if (!isOneValue(spot) || !isJson(node) || isHole(node)) return false;
  const { value: _, ...rest } = node;
  return !isOpen(rest);
}

/** Which of them are quantities: of several the first is meant. */
const numbersIn =
  (open: readonly Spot[]) =>
  (filling: Filling): string => {
    let key = '';
    for (const { read } of open) key += isQuantity(read(filling)) ? 'n' : '-';
    return key;
  };
