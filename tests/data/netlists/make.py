"""Writes the netlists beside it with gerbonara, independent of the code that reads them.

Run in a scratch environment: pip install gerbonara; python make.py
Written with gerbonara 1.6.3. The board is invented; tests/findings/netlists.rs knows it by the lines of BOARD below.
"""

from pathlib import Path

from gerbonara.cam import FileSettings
from gerbonara.ipc356 import Netlist, PadType, TestRecord
from gerbonara.utils import MM, Inch

HERE = Path(__file__).parent
HOLE, PAD, BARE = PadType.THROUGH_HOLE, PadType.SMD_PAD, PadType.NONPLATED_HOLE
LONG = "BEACON_SUPPLY_AFTER_THE_FUSE"

# kind, net, part, pin, via, access, x mm, y mm, mask
BOARD = [
    (PAD, "GND", "R1", "2", False, 1, 12.7, 5.08, 2),
    (PAD, LONG, "R1", "1", False, 1, 10.16, 5.08, 2),
    (PAD, "SIGNAL", "U2", "14", False, 4, -3.81, 25.4, 1),
    (HOLE, "GND", None, None, True, 0, 2.54, -1.27, 3),
    (HOLE, LONG, "TP1", "1", False, 0, 20.32, 7.62, 0),
    (BARE, None, "H1", "1", False, 0, 1.27, 1.27, 3),
]


def record(kind, net, part, pin, via, access, x, y, mask):
    plated = {HOLE: True, BARE: False}.get(kind)
    made = TestRecord(
        pad_type=kind, net_name=net, is_connected=net is not None, ref_des=part, is_via=via, pin_num=pin,
        is_middle=via, hole_dia=None if plated is None else 0.508, is_plated=plated, access_layer=access,
        x=x, y=y, w=1.016, h=0.508, rotation=0, solder_mask=mask, unit=MM,
    )
    made.leftover = None  # the class misspells its own field
    return made


for name, unit in [("inch.ipc", Inch), ("metric.ipc", MM)]:
    netlist = Netlist([record(*line) for line in BOARD], params={"JOB": "invented board"})
    settings = FileSettings(unit=unit)
    (HERE / name).write_text("\n".join(netlist._generate_lines(settings, drop_comments=True)) + "\n999\n")
