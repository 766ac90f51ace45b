"""Sizing: does this outlet, pump, meter and valve apply these rates at these speeds?

`request` reads what is asked, `machine` holds the parts and their hydraulics, `limits`
says what each part allows, `engine` puts the answer together, `advice` finds the words,
`table`, `chart` and `as_json` show it.
"""
