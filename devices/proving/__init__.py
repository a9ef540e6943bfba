"""The proof of a finished cover: the sheet that asks, what was measured, and what is kept of both.

It brings the record, the job and `marking.proof` together, and prints nothing.
It may import: `devices.begun`, `devices.history`, `devices.job`, `devices.machine_zones`,
`devices.setting_down`, `marking.begun`, `marking.drawing`, `marking.errors`, `marking.job`,
`marking.layout`, `marking.marked_before`, `marking.measures`, `marking.mending`, `marking.network`,
`marking.proof`, `marking.record`, `marking.sections`, `marking.sheets`.
"""
