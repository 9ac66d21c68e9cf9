/** The plots of a drain, as wide as there is room for, over a time that is chosen. */
import { askImage, type Image, whyNot } from './api.ts';
import { fill, h } from './dom.ts';

const SPANS = [
  [12, '12 h'],
  [24, '24 h'],
  [72, '3 days'],
  [168, '7 days'],
] as const;
const WIDTH_PX = { least: 340, most: 1100 } as const;

export interface Plots {
  readonly element: HTMLElement;
  /** Draws what is charted now. */
  draw(): Promise<void>;
}

export function plotsSection(drain: string): Plots {
  let hours = Number(sessionStorage.getItem('hours') ?? 24);
  let shown: (Image & { readonly path: string }) | null = null;
  const image = h('img', {
    class: 'plot',
    hidden: true,
    alt: 'Plots of this drain; the table below has the same values.',
  });
  const fault = h('p', { class: 'hint' });

  async function draw(): Promise<void> {
    const width = Math.min(WIDTH_PX.most, Math.max(WIDTH_PX.least, Math.floor(element.clientWidth)));
    const path = `/v1/drains/${drain}/plot.svg?last_h=${hours}&width=${width}`;
    try {
      const drawn = await askImage(path, shown?.path === path ? shown.tag : null);
      if (drawn !== null) showDrawn({ ...drawn, path });
      fill(fault);
    } catch (error) {
      const what = image.hidden ? 'Plots cannot be drawn now.' : 'Plots are as they were last drawn.';
      fill(fault, `${what} ${whyNot(error)}`);
    }
  }

  function showDrawn(drawn: NonNullable<typeof shown>): void {
    if (shown !== null) URL.revokeObjectURL(shown.address);
    shown = drawn;
    image.src = drawn.address;
    image.hidden = false;
  }

  const choices = spanChoices(hours, (chosen) => {
    hours = chosen;
    sessionStorage.setItem('hours', String(hours));
    void draw();
  });
  const element = h(
    'section',
    { 'aria-labelledby': 'plots' },
    h('h2', { id: 'plots' }, 'Trends'),
    h(
      'fieldset',
      { class: 'span' },
      h('legend', { class: 'unseen' }, 'Time shown'),
      h('div', { class: 'choices' }, choices),
    ),
    fault,
    image,
  );
  return { element, draw };
}

function spanChoices(hours: number, choose: (hours: number) => void): readonly HTMLElement[] {
  return SPANS.map(([value, words]) => {
    const on = { change: () => choose(value) };
    const input = h('input', { type: 'radio', name: 'span', value, checked: value === hours, on });
    return h('label', {}, input, h('span', {}, words));
  });
}
