// JSON requests. Every answer that is not yes becomes an error whose message can be shown as it is.
import type { HistoryReply } from './model'

export async function ask<A>(path: string, body?: unknown): Promise<A> {
  let response: Response
  try {
    response = await fetch(path, body === undefined ? { cache: 'no-store' } : { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body) })
  } catch {
    throw new Error('this phone has no connection to the page')
  }
  const answer = (await response.json().catch(() => ({}))) as A & { why?: string }
  if (!response.ok) throw new Error(answer.why ?? `the page answered ${response.status}`)
  return answer
}

export const history = (rig: string, what: string, more: Record<string, unknown> = {}): Promise<HistoryReply> =>
  ask<HistoryReply>('/api/history', { rig, what, ...more })

/** Not crypto.randomUUID: that does not exist on a page without HTTPS. */
export const newId = (): string => [...crypto.getRandomValues(new Uint8Array(16))].map((b) => b.toString(16).padStart(2, '0')).join('')
