/** Answers of the native API as JSON. */
import type { FastifyReply } from 'fastify';

/** Text that is JSON already: what is stored goes out as it is, digits and all. */
export const sendJson = (reply: FastifyReply, text: string): FastifyReply =>
  reply.type('application/json; charset=utf-8').send(text);

/** Decimals go out as plain JSON numbers. */
export const sendPlain = (reply: FastifyReply, value: object): FastifyReply =>
  sendJson(reply, JSON.stringify(value));
