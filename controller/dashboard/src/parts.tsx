// Small pieces used everywhere: marks (each level has a shape of its own), buttons that must be held, a sheet from below.
import type { ComponentChildren } from 'preact'
import { useSignal } from '@preact/signals'
import { useEffect, useRef } from 'preact/hooks'
import { T } from './texts'

const SHAPES = {
  trip: <path d="M7 1h6l6 6v6l-6 6H7l-6-6V7z" />, // octagon
  alarm: <path d="M10 1l9.5 18H.5z" />, // triangle
  act: <path d="M1 1h18v18H1z" />, // square: a person must act
  lost: <path d="M10 1a9 9 0 1 0 9 9h-4a5 5 0 1 1-5-5z" />, // broken ring
  yes: <path d="M2 10l6 6L18 4" fill="none" stroke="currentColor" stroke-width="3" />,
  no: <path d="M3 3l14 14M17 3L3 17" fill="none" stroke="currentColor" stroke-width="3" />,
}

export const Mark = ({ kind }: { kind: keyof typeof SHAPES }) => (
  <svg class={`mark mark-${kind}`} viewBox="0 0 20 20" width="20" height="20" aria-hidden="true" fill="currentColor">
    {SHAPES[kind]}
  </svg>
)

export const Section = ({ id, title, children }: { id: string; title: string; children: ComponentChildren }) => (
  <section id={id} aria-labelledby={`${id}-title`}>
    <h2 id={`${id}-title`}>{title}</h2>
    {children}
  </section>
)

const HOLD_MS = 900

/** Does something only after it was held. A short tap, a keyboard or a screen reader asks instead: see `onTap`. */
export function Hold({ label, onDone, onTap, kind = '', disabled = false }: {
  label: string; onDone: () => void; onTap?: () => void; kind?: string; disabled?: boolean
}) {
  const held = useSignal(false)
  const timer = useRef<ReturnType<typeof setTimeout> | undefined>(undefined)
  const spent = useRef(false)
  const let_go = () => { clearTimeout(timer.current); held.value = false }
  useEffect(() => let_go, [])
  const down = (event: PointerEvent) => {
    if (disabled || event.button !== 0) return
    spent.current = false
    held.value = true
    timer.current = setTimeout(() => {
      spent.current = true
      held.value = false
      navigator.vibrate?.(40)
      onDone()
    }, HOLD_MS)
  }
  return (
    <button type="button" class={`hold ${kind} ${held.value ? 'held' : ''}`} aria-disabled={disabled}
      onPointerDown={down} onPointerUp={let_go} onPointerLeave={let_go} onPointerCancel={let_go}
      onContextMenu={(e) => e.preventDefault()}
      onClick={() => { if (!spent.current && !disabled) onTap?.(); spent.current = false }}>
      <span>{held.value ? T.act.keepHolding : label}</span>
    </button>
  )
}

/** A sheet from below, over everything; closed by Escape too. */
export function Sheet({ title, onClose, children }: { title: string; onClose: () => void; children: ComponentChildren }) {
  const box = useRef<HTMLDialogElement>(null)
  useEffect(() => {
    const dialog = box.current
    if (dialog && !dialog.open) dialog.showModal()
    return () => dialog?.close()
  }, [])
  return (
    <dialog ref={box} class="sheet" aria-labelledby="sheet-title" onCancel={(e) => { e.preventDefault(); onClose() }}>
      <h2 id="sheet-title">{title}</h2>
      {children}
    </dialog>
  )
}
