"""The physical twin of a bench: its network in time, served as real instruments and ports.

Stands beside the layers: uses science, descriptions and protocols, is used by the command line
and by tests only. The harness reaches it through the same resource strings and serial ports as
hardware. To read it, begin with `network` (the circuit), `plant` (its state in time), `core`
(what is put together).

network, limiting, stack_facts : the resistive network of sources, leads, board and meter.
trajectory : slewing sources and first-order filters, exact between events.
plant : the electrical state of the bench, carried forward event by event.
relays, thermistors, board : what contacts connect; divider inputs; what the firmware says.
faults, draws, truth : what is planted, what is drawn once a bench, what is really so.
supply, meter, decade, switch : the instruments; templates, parameters, identity : their SCPI.
devices, scpi_server : instruments on loopback TCP.
board_stream, frame_faults, board_port : frames on pseudo-terminals and TCP.
bench_log, summary : what happened; highest values.
settings, core, twin : a twin in an event loop, and in a thread of this process.
job, process, __main__, addresses : a twin in a process of its own.
"""
