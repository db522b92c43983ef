"""The forecast's figures: what each is, where its value comes from, and how it is measured.

`definitions` lists them with typical values, `input_sources` takes them from Kit, class and pack,
`build_setup` makes the drive model's set-up of them; `input_screens` shows them and takes the
racer's own.
"""
