/** Plots of a drain as SVG, to be embedded by their address. */
import type { FastifyInstance, FastifyReply } from 'fastify';
import { z } from 'zod';
import { READ } from '../../auth/scope.ts';
import { advise } from '../../domain/advise.ts';
import type { Book, Subject } from '../../domain/book.ts';
import { newestAt } from '../../domain/chart.ts';
import type { Span } from '../../domain/interval.ts';
import { expectedEveryH } from '../../domain/overdue.ts';
import { type EpochMs, epochMs, HOUR_MS } from '../../domain/units.ts';
import type { PanelName } from '../../plots/drain-plot.ts';
import type { Theme } from '../../plots/style.ts';
import { holds, tagOf, UNCHANGED } from '../etag.ts';
import { CAUTIONS, type Parts } from '../parts.ts';
import { sendProblem } from '../refuse.ts';
import type { RouteDoc } from '../route-doc.ts';
import { problems } from './answers.ts';
import { listOf, wholeNumber } from './query-parts.ts';
import { noSuchDrain } from './reads.ts';
import { askedTrends, restsOn, TIME_QUERY, type TrendsQuery, tooMany } from './trends-reads.ts';

interface OfPlot {
  Params: { drain: string };
  Querystring: TrendsQuery & { readonly panels?: string; readonly width?: string; readonly theme?: Theme };
}

const PANELS: readonly PanelName[] = ['cumulative', 'bars', 'pressure', 'leak', 'advisories'];
const WIDTH_PX = { least: 320, most: 2400, usual: '900' } as const;

const DOC = {
  operation: 'plot',
  access: READ,
  summary: 'Plots of a drain, as an SVG image',
  about:
    'Cumulative net drainage, bars by hour (by shift over 3 days, by day over 14), pressures, air leak, advisories, over one time axis in the zone of the facility. Gaps are gaps. Without patient or names. The answer has an entity tag.',
  query: {
    panels: listOf(PANELS).meta({ description: `With commas between them. Default: ${PANELS.join(',')}.` }),
    ...TIME_QUERY,
    width: wholeNumber(WIDTH_PX.least, WIDTH_PX.most).meta({
      description: `px. Default: ${WIDTH_PX.usual}.`,
    }),
    theme: z
      .enum(['auto', 'light', 'dark'])
      .meta({ description: 'auto: as the reader prefers. Default: auto.' }),
  },
  answers: {
    200: { text: 'The image.', schema: z.string(), mediaType: 'image/svg+xml' },
    304: UNCHANGED,
    ...problems({ 400: 'The query cannot be answered as it is.', 404: 'There is no such drain.' }),
  },
} as const satisfies RouteDoc;

/** For whoever opens the image by itself: it may style itself, and nothing else. */
const IMAGE_POLICY = "default-src 'none'; style-src 'unsafe-inline'; sandbox";

export function registerPlots(app: FastifyInstance, parts: Parts): void {
  app.get<OfPlot>('/drains/:drain/plot.svg', { config: { doc: DOC } }, async (request, reply) => {
    const { drain } = request.params;
    const { panels = PANELS.join(','), width = WIDTH_PX.usual, theme = 'auto' } = request.query;
    const asked = askedTrends(request.query);
    if ('type' in asked) return sendProblem(reply, asked);
    const rests = restsOn(parts, drain);
    if (rests === null) return sendProblem(reply, noSuchDrain(drain));
    const tag = tagOf(['plot', panels, width, theme, asked, ...rests]);
    if (holds(request, reply, tag)) return reply.code(304).send();
    const subject = parts.store.books(drain);
    const book = subject.get(drain);
    if (book === undefined) return sendProblem(reply, noSuchDrain(drain));
    const to = asked.to ?? newestAt(book.chart) ?? epochMs(parts.now());
    const over = { from: asked.from ?? epochMs(to - asked.last_h * HOUR_MS), to };
    const image = await drawn(
      parts,
      { subject, book, over },
      {
        panels: [...new Set(panels.split(','))] as PanelName[],
        width: Number(width),
        theme,
      },
    );
    return image === null ? sendProblem(reply, tooMany(request.query)) : sendImage(reply, image);
  });
}

interface Shown {
  readonly subject: Subject;
  readonly book: Book;
  readonly over: Span & { readonly to: EpochMs };
}

async function drawn(
  { calendar, policy, rules }: Parts,
  { subject, book, over }: Shown,
  look: { readonly panels: readonly PanelName[]; readonly width: number; readonly theme: Theme },
): Promise<string | null> {
  // The libraries it draws with are loaded when somebody first looks.
  const { drainPlot } = await import('../../plots/drain-plot.ts');
  const { episodes } = advise([...subject.values()], policy.rules);
  return drainPlot({
    ...{ book, calendar, over, ...look },
    episodes: episodes.filter(({ drains }) => drains.includes(book.drain)),
    joinedUpTo: expectedEveryH(book.view.population, rules.reading_every_h) * HOUR_MS,
    caution: CAUTIONS[0],
  });
}

const sendImage = (reply: FastifyReply, image: string): FastifyReply =>
  reply
    .type('image/svg+xml; charset=utf-8')
    .header('content-security-policy', IMAGE_POLICY)
    .header('x-content-type-options', 'nosniff')
    .send(image);
