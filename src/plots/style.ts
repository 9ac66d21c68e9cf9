/** How plots look: shapes, dashes and hatching carry the meaning, colour only helps. Inks keep 4.5:1 on their paper (WCAG 2.2, 1.4.3). */
import { el } from './svg.ts';

export type FixedTheme = 'light' | 'dark';
export type Theme = 'auto' | FixedTheme;

const LIGHT =
  '--paper:#fff;--ink:#16202b;--quiet:#4d5b69;--grid:#dbe1e6;--first:#0a5c66;--second:#7a4a00;--third:#553a9b';
const DARK =
  '--paper:#10161d;--ink:#e6ebf0;--quiet:#a7b3bf;--grid:#2c3742;--first:#6fd0da;--second:#e5b567;--third:#b9a5f0';

const RULES = `
text{fill:var(--ink);font-size:12px;font-family:system-ui,'Segoe UI','DejaVu Sans',sans-serif}
.paper{fill:var(--paper)}
.title{font-size:14px;font-weight:600}
.quiet{fill:var(--quiet)}.small{font-size:11px}
.grid{stroke:var(--grid)}.axis{stroke:var(--quiet)}
.line{fill:none;stroke-width:2}
.first{stroke:var(--first)}.second{stroke:var(--second)}.third{stroke:var(--third)}
.dash{stroke-dasharray:7 4}.dots{stroke-dasharray:2 4}
.mark{stroke-width:1.5;fill:var(--paper)}
.full.first{fill:var(--first)}
.bar{stroke-width:1.2;stroke:var(--first);fill:var(--first)}
.bar.open{fill:url(#hatch)}.bar.faint{fill:none;stroke-dasharray:3 3}
.whisker{fill:none;stroke:var(--ink);stroke-width:1.4}
.halo{fill:none;stroke:var(--paper);stroke-width:4}
.mean{fill:none;stroke:var(--second);stroke-width:1.6}
.event{stroke:var(--quiet);stroke-width:1.2;stroke-dasharray:1 3}
.gap{fill:url(#gap)}
.span{fill:url(#hatch);stroke:var(--first)}.span.ended{fill:none}
.hatch{stroke:var(--first);stroke-width:1.4}.gapline{stroke:var(--quiet);stroke-width:1}
`;

const PATTERNS = el(
  'defs',
  {},
  el(
    'pattern',
    { id: 'hatch', width: 6, height: 6, patternUnits: 'userSpaceOnUse', patternTransform: 'rotate(45)' },
    el('line', { x1: 0, y1: 0, x2: 0, y2: 6, class: 'hatch' }),
  ),
  el(
    'pattern',
    { id: 'gap', width: 8, height: 8, patternUnits: 'userSpaceOnUse', patternTransform: 'rotate(-45)' },
    el('line', { x1: 0, y1: 0, x2: 0, y2: 8, class: 'gapline' }),
  ),
);

export function styleOf(theme: Theme): string {
  const colours =
    theme === 'auto'
      ? `svg{${LIGHT}}@media (prefers-color-scheme:dark){svg{${DARK}}}`
      : `svg{${theme === 'dark' ? DARK : LIGHT}}`;
  return styled(`${colours}${RULES}`);
}

/** For a renderer that knows no CSS variables: each stands as the colour it is. */
export function plainStyleOf(theme: FixedTheme): string {
  const colours = new Map(
    (theme === 'dark' ? DARK : LIGHT).split(';').map((each) => each.split(':') as [string, string]),
  );
  return styled(RULES.replaceAll(/var\((--\w+)\)/g, (_, name: string) => colours.get(name) ?? ''));
}

const styled = (css: string): string => `<style>${css.replaceAll('\n', '')}</style>${PATTERNS}`;
