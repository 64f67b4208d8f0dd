// What a person did at the rig, in two taps: what, and how much.
import { signal, useSignal } from '@preact/signals'
import { ask } from './ask'
import { Mark, Sheet } from './parts'
import { T } from './texts'

const kind = signal<string | null>(null)
/** What was sent last, to be said where the person looks. */
export const lastSent = signal('')
export const openLog = (what: string): void => { kind.value = what }

export function LogSheet({ rig }: { rig: string }) {
  return kind.value === null ? null : <Entry key={kind.value} rig={rig} what={kind.value} />
}

function Entry({ rig, what }: { rig: string; what: string }) {
  const words = T.record.kinds[what]!
  const unit = words.unit ?? ''
  const amount = useSignal('')
  const text = useSignal('')
  const side = useSignal(words.side ? 'both' : '')
  const error = useSignal('')
  const sent = useSignal('')
  const close = () => { kind.value = null }
  const save = async (number: number | null) => {
    const entry = { rig, kind: what, number, unit: number === null ? '' : unit, text: text.value, side: side.value }
    try {
      await ask('/api/logbook', entry)
      sent.value = lastSent.value = T.record.sent(`${words.title.toLowerCase()}${number === null ? '' : ` ${number} ${unit}`}`)
    } catch (problem) {
      error.value = T.error((problem as Error).message)
    }
  }
  if (sent.value) {
    return (
      <Sheet title={words.title} onClose={close}>
        <p role="status" class="answer yes" data-sent><Mark kind="yes" /> {sent.value}</p>
        <button type="button" class="plain wide" onClick={close}>{T.act.done}</button>
      </Sheet>
    )
  }
  return (
    <Sheet title={words.title} onClose={close}>
      {words.caution && <p class="caution"><Mark kind="act" /> <span>{words.caution}</span></p>}
      <label class="field"><span>{T.record.side}</span>
        <select value={side.value} onChange={(e) => { side.value = e.currentTarget.value }}>
          {Object.entries(T.record.sides).filter(([value]) => value || !words.side).map(([value, name]) => <option key={value} value={value}>{name}</option>)}
        </select></label>
      {words.quick && (
        <div class="quick">{words.quick.map((n) => <button type="button" class="firm" key={n} onClick={() => void save(n)}>{n} {unit}</button>)}</div>
      )}
      {error.value && <p role="alert" class="answer act"><Mark kind="act" /> {error.value}</p>}
      <form onSubmit={(e) => { e.preventDefault(); void save(amount.value === '' ? null : Number(amount.value)) }}>
        {unit && (
          <label class="field"><span>{words.quick ? T.record.other : words.amount ?? T.record.amount}, {unit}</span>
            <input type="number" inputMode="decimal" min="0" step="any" required={!words.optional} value={amount.value} onInput={(e) => { amount.value = e.currentTarget.value }} /></label>
        )}
        <label class="field"><span>{T.record.words}</span>
          <input maxLength={400} required={!!words.text} value={text.value} onInput={(e) => { text.value = e.currentTarget.value }} /></label>
        <div class="pair">
          <button type="button" class="plain" onClick={close}>{T.act.cancel}</button>
          <button class="firm">{T.record.save}</button>
        </div>
      </form>
    </Sheet>
  )
}
