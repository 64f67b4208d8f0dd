// The stream of what is live: one connection, watched, begun anew by itself, and never believed beyond its age.
import { signal } from '@preact/signals'
import { applied } from './difference'
import { Steady, type Link } from './fresh'
import type { Frame, View } from './model'

declare global {
  interface Window { lyewatch?: { build: string; early: Promise<Response> | null } }
}

const AGAIN_MS = [300, 1000, 2000, 4000, 8000]
const QUIET_MS = 6500 // three beats: the connection is dead, whatever the network says

export const view = signal<View | null>(null)
export const link = signal<Link>('connecting')
export const refused = signal<string | null>(null) // why the server lets nobody look
/** Grows by one each second and with each message: what shows an age reads it. */
export const beat = signal(0)

const steady = new Steady()
const at = () => performance.now() / 1000
const wall = () => Date.now() / 1000
export const serverNow = () => steady.now(at(), wall())
export const silent = () => steady.silent(at(), wall())
export const wallNow = wall

export const rigOf = (path: string): string => decodeURIComponent(/^\/rig\/([^/]+)/.exec(path)?.[1] ?? '')

export function heard(frame: Frame): void {
  steady.heard(frame.t, at(), wall())
  if (frame.all) view.value = { ...frame.all, me: frame.all.me ?? view.value?.me ?? null }
  else if (frame.d && view.value) view.value = applied(view.value, frame.d) as View
  beat.value++
}

let running: AbortController | null = null
let failures = 0
let timer: ReturnType<typeof setTimeout> | undefined

async function run(mine: AbortController): Promise<void> {
  const early = window.lyewatch?.early ?? null
  if (window.lyewatch) window.lyewatch.early = null
  const response = await (early ?? fetch(`/live?rig=${encodeURIComponent(rigOf(location.pathname))}`, { cache: 'no-store', signal: mine.signal }))
  if (response.status === 401 || response.status === 403) {
    refused.value = ((await response.json()) as { why: string }).why
    return
  }
  if (!response.ok || !response.body) throw new Error(String(response.status))
  refused.value = null
  steady.anew()
  const reader = response.body.getReader()
  mine.signal.addEventListener('abort', () => void reader.cancel().catch(() => {}))
  const decoder = new TextDecoder()
  let text = ''
  let watchdog: ReturnType<typeof setTimeout> | undefined
  try {
    for (;;) {
      clearTimeout(watchdog)
      watchdog = setTimeout(() => mine.abort(), QUIET_MS)
      const { done, value } = await reader.read()
      if (done || mine.signal.aborted) return
      text += decoder.decode(value, { stream: true })
      const whole = text.split('\n\n')
      text = whole.pop() ?? ''
      for (const event of whole) heard(JSON.parse(event.slice(6)) as Frame)
      link.value = 'open'
      failures = 0
    }
  } finally {
    clearTimeout(watchdog)
  }
}

/** Connects now, whatever went before. */
export function connect(): void {
  clearTimeout(timer)
  running?.abort()
  const mine = (running = new AbortController())
  run(mine)
    .catch(() => {})
    .then(() => {
      if (running !== mine || refused.value !== null) return
      link.value = 'lost'
      beat.value++
      const wait = AGAIN_MS[Math.min(failures++, AGAIN_MS.length - 1)]!
      timer = setTimeout(connect, wait * (0.75 + Math.random() / 2))
    })
}

export function begin(): void {
  const first = document.getElementById('first')?.textContent
  if (first && first !== 'null') heard(JSON.parse(first) as Frame)
  connect()
  setInterval(() => beat.value++, 1000)
  const anew = () => {
    if (document.visibilityState === 'visible' && silent() > 2.5) connect()
    beat.value++
  }
  document.addEventListener('visibilitychange', anew)
  window.addEventListener('online', anew)
  window.addEventListener('pageshow', anew)
}
