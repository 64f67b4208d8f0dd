// Asking the guard: what will happen, a reason, a hold; then the guard's own answer. Nothing shows as done before that.
import { signal, useSignal } from '@preact/signals'
import { ask, newId } from './ask'
import type { Me } from './model'
import { Hold, Mark, Sheet } from './parts'
import { T } from './texts'

type Answer = { accepted: boolean | null; why: string }
interface Open { rig: string; verb: string; subject: string; number: number | null; at: 'form' | 'asking' | 'answer'; answer: Answer | null; error: string }

export const open = signal<Open | null>(null)

export const begin = (rig: string, verb: string, subject = '', number: number | null = null): void => {
  open.value = { rig, verb, subject, number, at: 'form', answer: null, error: '' }
}

export async function send(rig: string, verb: string, more: Record<string, unknown> = {}): Promise<void> {
  const subject = String(more['subject'] ?? '')
  open.value = { rig, verb, subject, number: null, at: 'asking', answer: null, error: '' }
  try {
    const answer = await ask<Answer>('/api/command', { rig, verb, id: newId(), ...more })
    if (open.value) open.value = { ...open.value, at: 'answer', answer }
  } catch (error) {
    if (open.value) open.value = { ...open.value, at: 'answer', error: (error as Error).message }
  }
}

const NEEDS_REASON = new Set(['start', 'set-current', 'reset', 'hold', 'shelve'])
const NEEDS_CURRENT = new Set(['start', 'set-current'])

export function CommandSheet() {
  const now = open.value
  if (!now) return null
  const close = () => { open.value = null }
  const words = T.act.verbs[now.verb]!
  const title = words.title.replace(' …', '') + (now.subject ? `: ${now.subject}` : '')
  if (now.at === 'asking') return <Sheet title={title} onClose={close}><p role="status">{T.act.asking}</p></Sheet>
  if (now.at === 'answer') {
    const { answer, error } = now
    const [kind, head] = error
      ? ['act', T.act.failed] as const
      : answer!.accepted === null ? ['lost', T.act.answerNone] as const
        : answer!.accepted ? ['yes', T.act.answerYes] as const : ['act', T.act.answerNo] as const
    return (
      <Sheet title={title} onClose={close}>
        <div role="alert" class={`answer ${kind}`} data-answer={error ? 'failed' : String(answer!.accepted)}>
          <b><Mark kind={kind} /> {head}</b>
          <p>{error || answer!.why}</p>
        </div>
        <button type="button" class="plain wide" autofocus onClick={close}>{T.act.done}</button>
      </Sheet>
    )
  }
  return <Sheet title={title} onClose={close}><Form key={now.verb + now.subject} now={now} close={close} /></Sheet>
}

function Form({ now, close }: { now: Open; close: () => void }) {
  const words = T.act.verbs[now.verb]!
  const current = useSignal(now.number === null ? '' : String(now.number))
  const ends = useSignal<'litres' | 'hours'>('litres')
  const many = useSignal('')
  const reason = useSignal('')
  const needsReason = NEEDS_REASON.has(now.verb)
  const needsCurrent = NEEDS_CURRENT.has(now.verb)
  const start = now.verb === 'start'
  const ready = (!needsReason || reason.value.trim() !== '') && (!needsCurrent || Number(current.value) > 0) && (!start || Number(many.value) > 0)
  const go = () => {
    const more: Record<string, unknown> = { subject: now.subject, text: reason.value.trim() }
    if (needsCurrent) more['number'] = Number(current.value)
    if (start) more[ends.value] = Number(many.value)
    if (ready) void send(now.rig, now.verb, more)
  }
  const field = (label: string, value: { value: string }, props: Record<string, unknown> = {}) => (
    <label class="field"><span>{label}</span>
      <input value={value.value} onInput={(e) => { value.value = e.currentTarget.value }} {...props} /></label>
  )
  return (
    <form onSubmit={(e) => e.preventDefault()}>
      <p>{words.effect}</p>
      {(T.act.cautions[now.verb] ?? []).map((c) => <p class="caution" key={c}><Mark kind="act" /> <span>{c}</span></p>)}
      {needsCurrent && field(T.act.current, current, { inputMode: 'decimal', type: 'number', min: '0', step: 'any', required: true })}
      {start && (
        <fieldset class="ends"><legend>{T.act.ends}</legend>
          {field(T.act.howMany, many, { inputMode: 'decimal', type: 'number', min: '0', step: 'any', required: true })}
          {(['litres', 'hours'] as const).map((e) => (
            <label class="choice" key={e}><input type="radio" name="ends" checked={ends.value === e} onChange={() => { ends.value = e }} /><span>{T.act[e]}</span></label>
          ))}
        </fieldset>
      )}
      {needsReason && field(T.act.reason, reason, { maxLength: 200, required: true, autocomplete: 'off' })}
      <div class="pair">
        <button type="button" class="plain" onClick={close}>{T.act.cancel}</button>
        {now.verb === 'stop'
          ? <button type="button" class="firm" onClick={go}>{T.act.stopConfirm}</button>
          : <Hold kind="firm" label={T.act.hold(words.title.replace(' …', ''))} disabled={!ready} onDone={go} onTap={go} />}
      </div>
    </form>
  )
}

/** Always within reach of the thumb. Held: asked at once. Tapped: asked after one more tap. */
export const Stop = ({ rig }: { rig: string }) => (
  <Hold kind="stop" label={T.act.verbs['stop']!.title} onDone={() => void send(rig, 'stop')} onTap={() => begin(rig, 'stop')} />
)

export const may = (me: Me | null, verb: string): boolean => me?.may.includes(verb) ?? false
