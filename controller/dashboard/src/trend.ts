// Draws with uPlot: gaps as gaps, limits as dashed lines, events as ticks, 24-hour local time. One finger moves through
// time, two zoom; up and down still scrolls the page.
import uPlot from 'uplot'
import { tick } from './format'

export interface Threshold { value: number; text: string; trip: boolean }
export interface Line { time_s: number[]; value: (number | null)[]; limits: Threshold[]; marks: { time_s: number; kind: string }[] }
export interface Drawn { destroy(): void }
export interface Heard { onCursor(at: number | null): void; onRange(from_s: number, to_s: number): void }

const HEIGHT = 190
const SETTLE_MS = 350

export function draw(hosts: HTMLElement[], lines: Line[], heard: Heard): Drawn {
  const style = getComputedStyle(document.documentElement)
  const ink = (name: string) => style.getPropertyValue(name).trim()
  const plots: uPlot[] = []
  let settle: ReturnType<typeof setTimeout> | undefined

  const show = (min: number, max: number) => {
    for (const plot of plots) plot.setScale('x', { min, max })
    clearTimeout(settle)
    settle = setTimeout(() => heard.onRange(min, max), SETTLE_MS)
  }

  hosts.forEach((host, i) => {
    const line = lines[i]
    if (!line) return
    const times = line.time_s
    const plot = new uPlot(
      {
        width: host.clientWidth,
        height: HEIGHT,
        legend: { show: false },
        cursor: { drag: { x: false, y: false }, points: { size: 9 }, y: false, sync: { key: 'lyewatch' } },
        scales: {
          x: { time: true },
          y: { range: (_u, low, high) => around(low, high, line.limits) },
        },
        series: [{}, { stroke: ink('--ink'), width: 1.6, spanGaps: false, points: { show: false } }],
        axes: [
          {
            stroke: ink('--soft'), grid: { stroke: ink('--line'), width: 1 }, ticks: { show: false }, font: '13px system-ui', size: 28, space: 70,
            values: (u, splits) => splits.map((s) => tick(s, (u.scales['x']!.max ?? 0) - (u.scales['x']!.min ?? 0))),
          },
          { stroke: ink('--soft'), grid: { stroke: ink('--line'), width: 1 }, ticks: { show: false }, font: '13px system-ui', size: 44, space: 34 },
        ],
        hooks: {
          draw: [(u) => over(u, line, ink)],
          setCursor: [(u) => heard.onCursor(u.cursor.idx ?? null)],
        },
      },
      [times, line.value as number[]],
      host,
    )
    plots.push(plot)
    gestures(plot, show)
  })

  const fit = new ResizeObserver(() => plots.forEach((p, i) => p.setSize({ width: hosts[i]!.clientWidth, height: HEIGHT })))
  if (hosts[0]) fit.observe(hosts[0])
  return {
    destroy() {
      clearTimeout(settle)
      fit.disconnect()
      for (const plot of plots) plot.destroy()
    },
  }
}

/** The scale holds data and limits, so that the way between them is true to size. */
function around(low: number | null, high: number | null, limits: Threshold[]): [number, number] {
  const all = [...limits.map((l) => l.value), ...(low === null || high === null ? [] : [low, high])]
  if (!all.length) return [0, 1]
  const min = Math.min(...all)
  const max = Math.max(...all)
  const pad = (max - min || Math.abs(max) || 1) * 0.06
  return [min - pad, max + pad]
}

function over(u: uPlot, line: Line, ink: (name: string) => string): void {
  const { ctx } = u
  const { left, top, width, height } = u.bbox
  const dpr = devicePixelRatio
  ctx.save()
  ctx.beginPath()
  ctx.rect(left, top, width, height)
  ctx.clip()
  ctx.font = `${12 * dpr}px system-ui`
  for (const limit of line.limits) {
    const y = Math.round(u.valToPos(limit.value, 'y', true))
    ctx.strokeStyle = ctx.fillStyle = ink('--ink')
    ctx.lineWidth = (limit.trip ? 2 : 1) * dpr
    ctx.setLineDash(limit.trip ? [8 * dpr, 4 * dpr] : [2 * dpr, 4 * dpr])
    ctx.beginPath()
    ctx.moveTo(left, y)
    ctx.lineTo(left + width, y)
    ctx.stroke()
    const at = [left + width - ctx.measureText(limit.text).width - 4 * dpr, y > top + 18 * dpr ? y - 6 * dpr : y + 15 * dpr] as const
    ctx.setLineDash([])
    ctx.lineWidth = 4 * dpr
    ctx.strokeStyle = ink('--paper') // so that no line runs through the word
    ctx.strokeText(limit.text, ...at)
    ctx.fillText(limit.text, ...at)
  }
  ctx.setLineDash([])
  for (const mark of line.marks) {
    const x = Math.round(u.valToPos(mark.time_s, 'x', true))
    const trip = mark.kind === 'trip'
    ctx.fillStyle = trip ? ink('--red') : ink('--soft')
    ctx.fillRect(x, top, (trip ? 2 : 1) * dpr, height)
    ctx.beginPath()
    ctx.moveTo(x - 5 * dpr, top)
    ctx.lineTo(x + 6 * dpr, top)
    ctx.lineTo(x, top + 9 * dpr)
    ctx.fill()
  }
  ctx.restore()
}

/** One finger: along. Two: closer or wider about their middle. A wheel does the same for a desk. */
function gestures(plot: uPlot, show: (min: number, max: number) => void): void {
  const { over } = plot
  const fingers = new Map<number, number>()
  let from = { min: 0, max: 0, middle: 0, spread: 0 }
  const range = () => ({ min: plot.scales['x']!.min ?? 0, max: plot.scales['x']!.max ?? 1 })
  const middle = () => [...fingers.values()].reduce((a, b) => a + b, 0) / fingers.size
  const spread = () => { const [a = 0, b = a] = [...fingers.values()]; return Math.max(24, Math.abs(a - b)) }
  const grab = () => { if (fingers.size) from = { ...range(), middle: middle(), spread: spread() } }
  over.addEventListener('pointerdown', (e) => {
    over.setPointerCapture(e.pointerId)
    fingers.set(e.pointerId, e.offsetX)
    grab()
  })
  over.addEventListener('pointermove', (e) => {
    plot.setCursor({ left: e.offsetX, top: 10 })
    if (!fingers.has(e.pointerId)) return
    fingers.set(e.pointerId, e.offsetX)
    const wide = from.max - from.min
    const zoom = fingers.size > 1 ? from.spread / spread() : 1
    const hold = from.min + (from.middle / over.clientWidth) * wide // the time under the fingers stays under them
    const span = Math.min(Math.max(wide * zoom, 10), 2 * 366 * 86400)
    const min = hold - (middle() / over.clientWidth) * span
    if (fingers.size > 1 || Math.abs(middle() - from.middle) > 6) show(min, min + span)
  })
  const off = (e: PointerEvent) => { fingers.delete(e.pointerId); grab() }
  over.addEventListener('pointerup', off)
  over.addEventListener('pointercancel', off)
  over.addEventListener('wheel', (e) => {
    if (!e.ctrlKey && !e.shiftKey) return
    e.preventDefault()
    const { min, max } = range()
    const hold = min + (e.offsetX / over.clientWidth) * (max - min)
    const zoom = Math.exp(e.deltaY / 300)
    show(hold - (hold - min) * zoom, hold + (max - hold) * zoom)
  }, { passive: false })
}
