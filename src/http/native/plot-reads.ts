/** Plots of a drain as SVG or PNG, to be embedded by their address. */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { z } from 'zod';
import { READ } from '../../auth/scope.ts';
import { expectedEveryH } from '../../domain/assessment/overdue.ts';
import { advise } from '../../domain/book/advise.ts';
import type { Book, Subject } from '../../domain/book/book.ts';
import { newestAt, rowsFrom } from '../../domain/fold/chart.ts';
import type { Span } from '../../domain/fold/interval.ts';
import { type EpochMs, epochMs, HOUR_MS, MINUTE_MS } from '../../domain/numbers/units.ts';
import type { PanelName } from '../../plots/drain-plot.ts';
import { type FixedTheme, plainStyleOf, styleOf, type Theme } from '../../plots/style.ts';
import { reachesAll } from '../allowed.ts';
import { holds, tagOf, UNCHANGED } from '../etag.ts';
import { CAUTIONS, type Parts } from '../parts.ts';
import { noSuchDrain, type Problem } from '../problem.ts';
import { sendProblem } from '../refuse.ts';
import type { RouteDoc } from '../route-doc.ts';
import { problems } from './answers.ts';
import { listOf, wholeNumber } from './query-parts.ts';
import { askedTrends, restsOn, TIME_QUERY, type TrendsQuery, tooMany } from './trends-reads.ts';

interface OfPlot<T = Theme> {
  Params: { drain: string };
  Querystring: TrendsQuery & { readonly panels?: string; readonly width?: string; readonly theme?: T };
}

const PANELS: readonly PanelName[] = ['cumulative', 'bars', 'pressure', 'leak', 'advisories'];
const WIDTH_PX = { least: 320, most: 2400, usual: '900' } as const;

const ABOUT =
  'Cumulative net drainage, bars by hour (by shift over 3 days, by day over 14), pressures, air leak, advisories, over one time axis in the zone of the facility. Gaps are gaps. Without patient or names. The answer has an entity tag.';
const QUERY = {
  panels: listOf(PANELS).meta({ description: `With commas between them. Default: ${PANELS.join(',')}.` }),
  ...TIME_QUERY,
  to: TIME_QUERY.to.meta({
    format: 'date-time',
    description: 'Default: this minute; of a drain that is out the newest statement.',
  }),
  width: wholeNumber(WIDTH_PX.least, WIDTH_PX.most).meta({
    description: `px. Default: ${WIDTH_PX.usual}.`,
  }),
};
const REFUSALS = { 400: 'The query cannot be answered as it is.', 404: 'There is no such drain.' };

const DOCS = {
  svg: {
    operation: 'plot',
    access: READ,
    summary: 'Plots of a drain, as an SVG image',
    about: ABOUT,
    query: {
      ...QUERY,
      theme: z
        .enum(['auto', 'light', 'dark'])
        .meta({ description: 'auto: as the reader prefers. Default: auto.' }),
    },
    answers: {
      200: { text: 'The image.', schema: z.string(), mediaType: 'image/svg+xml' },
      304: UNCHANGED,
      ...problems(REFUSALS),
    },
  },
  png: {
    operation: 'plotPicture',
    access: READ,
    summary: 'Plots of a drain, as a PNG image',
    about: `For what shows no SVG, such as a mail or a document. ${ABOUT}`,
    query: { ...QUERY, theme: z.enum(['light', 'dark']).meta({ description: 'Default: light.' }) },
    answers: {
      200: {
        text: 'The image.',
        schema: z.string().meta({ contentMediaType: 'image/png' }),
        mediaType: 'image/png',
      },
      304: UNCHANGED,
      ...problems({ ...REFUSALS, 503: 'Too many pictures are asked for at once.' }),
    },
  },
} as const satisfies Readonly<Record<string, RouteDoc>>;

/** For whoever opens the image by itself: it may style itself, and nothing else. */
const IMAGE_POLICY = "default-src 'none'; style-src 'unsafe-inline'; sandbox";

export function registerPlots(app: FastifyInstance, parts: Parts): void {
  app.get<OfPlot>('/drains/:drain/plot.svg', { config: { doc: DOCS.svg } }, async (request, reply) => {
    const { theme = 'auto' } = request.query;
    const svg = await plotOf(parts, request, reply, { name: theme, element: styleOf(theme) });
    return svg === null ? reply : sendImage(reply, 'image/svg+xml; charset=utf-8', svg);
  });

  app.get<OfPlot<FixedTheme>>(
    '/drains/:drain/plot.png',
    { config: { doc: DOCS.png } },
    async (request, reply) => {
      const { theme = 'light' } = request.query;
      const svg = await plotOf(parts, request, reply, { name: `png ${theme}`, element: plainStyleOf(theme) });
      if (svg === null) return reply;
      return sendImage(reply, 'image/png', Buffer.from(await parts.pictures.draw(svg)));
    },
  );
}

interface Style {
  /** By which one answer is told from another. */
  readonly name: string;
  readonly element: string;
}

/** @returns the plot as SVG; null where another answer is sent already: a refusal, or that nothing has changed */
async function plotOf(
  parts: Parts,
  request: FastifyRequest<OfPlot>,
  reply: FastifyReply,
  style: Style,
): Promise<string | null> {
  const { drain } = request.params;
  const { panels = PANELS.join(','), width = WIDTH_PX.usual } = request.query;
  const refused = (problem: Problem): null => {
    sendProblem(reply, problem);
    return null;
  };
  const asked = askedTrends(request.query);
  if ('type' in asked) return refused(asked);
  const rests = restsOn(parts, drain);
  if (rests === null) return refused(noSuchDrain(drain));
  const minute = epochMs(Math.floor(parts.now() / MINUTE_MS) * MINUTE_MS);
  const until = asked.to ?? minute;
  const { bounds } = request.principal;
  if (holds(request, reply, tagOf(['plot', panels, width, style.name, asked, until, bounds, ...rests]))) {
    reply.code(304).send();
    return null;
  }
  // The libraries it draws with are loaded when somebody first looks; books hold for one turn, so they are taken after.
  const { drainPlot } = await import('../../plots/drain-plot.ts');
  const subject = parts.store.books(drain);
  const book = subject.get(drain);
  if (book === undefined) return refused(noSuchDrain(drain));
  const to = asked.to ?? endOf(book, minute);
  const over = { from: asked.from ?? epochMs(to - asked.last_h * HOUR_MS), to };
  const isTold = (drains: readonly string[]) => reachesAll(request.principal, drains, parts.store);
  const look = { panels: [...new Set(panels.split(','))] as PanelName[], width: Number(width) };
  const svg = drawn(drainPlot, parts, { subject, book, over, isTold }, { ...look, style: style.element });
  return svg ?? refused(tooMany(request.query));
}

/**
 * A drain that is in is drawn up to now, so that hours in which nothing was charted are seen, or to what was charted by
 * a clock that is a little ahead; of one that is out nothing is expected any more.
 */
function endOf({ view, chart }: Book, now: EpochMs): EpochMs {
  if (view.removedMs !== null) return newestAt(chart) ?? now;
  return rowsFrom(chart, now).findLast(({ counted }) => counted)?.item.at ?? now;
}

interface Shown {
  readonly subject: Subject;
  readonly book: Book;
  readonly over: Span & { readonly to: EpochMs };
  /** Whether whoever asks may be told of what rests on these drains. */
  isTold(drains: readonly string[]): boolean;
}

function drawn(
  drainPlot: typeof import('../../plots/drain-plot.ts').drainPlot,
  { calendar, policy, rules }: Parts,
  { subject, book, over, isTold }: Shown,
  look: { readonly panels: readonly PanelName[]; readonly width: number; readonly style: string },
): string | null {
  const { episodes } = advise([...subject.values()], policy.rules);
  return drainPlot({
    book,
    calendar,
    over,
    ...look,
    episodes: episodes.filter(({ drains }) => drains.includes(book.drain) && isTold(drains)),
    joinedUpTo: expectedEveryH(book.view.population, rules.reading_every_h) * HOUR_MS,
    caution: CAUTIONS[0],
  });
}

const sendImage = (reply: FastifyReply, type: string, image: string | Buffer): FastifyReply =>
  reply
    .type(type)
    .header('content-security-policy', IMAGE_POLICY)
    .header('x-content-type-options', 'nosniff')
    .send(image);
