"""Protocols without input or output: values in and bytes out, bytes in and values out.

Nothing here opens, waits, stores or reads a clock. Controller side of SCPI: `scpi_reply`,
`scpi_command`. Instrument side: `scpi_device` over `scpi_lexer`, `scpi_headers`, `scpi_call`,
`scpi_errors`, `scpi_status`. Common to both: `scpi_numbers`. Board frames: `frame_columns`,
`frame_values`, `frame_events`, `line_splitter`, `text_frames`, `json_frames`,
`binary_frames`, joined in `frame_decoder`; the other direction is `frame_encoder`. Integrity:
`checks`, `sequence`.
"""
