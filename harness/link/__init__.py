"""The link to a board: from a serial port to time-stamped frames.

`port` opens the port and hands over bytes; `board_link` owns it in a thread, decodes and
keeps frames. Nothing here sends anything to the board.
"""
