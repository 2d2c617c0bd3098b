"""Writes the Gerber files beside it with libraries independent of the code that reads them, and reads them back with one.

Run in a scratch environment: pip install gerbonara gerber-writer; python make.py
Written with gerbonara 1.5.0 and gerber-writer 0.4.3.3 (by the format's editor). The boards are invented.

No library writes the attributes of component layers, so those two files are put together here after the annotated
example in The Gerber Layer Format Specification, revision 2024.05, chapter 6.9, and gerbonara reads what they say: its
reading is components.csv, which tests/findings/gerber_layers.rs compares with.
"""

import csv
from math import cos, radians, sin
from pathlib import Path

import gerber_writer
from gerbonara import GerberFile
from gerbonara.apertures import CircleAperture
from gerbonara.cam import FileSettings
from gerbonara.graphic_objects import Arc, Flash, Line
from gerbonara.utils import MM, Inch

HERE = Path(__file__).parent

# The profile: 80 x 50 mm from (-5, 12.5), corners rounded by 4 mm, a round opening of 3 mm radius at (35, 40).
X0, Y0, X1, Y1, R = -5.0, 12.5, 75.0, 62.5, 4.0
PEN = CircleAperture(0.1, unit=MM)


def line(x1, y1, x2, y2):
    return Line(x1, y1, x2, y2, aperture=PEN, unit=MM)


def corner(x1, y1, x2, y2, x, y, clockwise=False):
    return Arc(x1, y1, x2, y2, x - x1, y - y1, clockwise, aperture=PEN, unit=MM)


# In no order, and drawn in either direction, as programs do that write one edge after the other.
PIECES = [
    line(X0 + R, Y0, X1 - R, Y0),
    line(X1 - R, Y1, X0 + R, Y1),
    corner(X1, Y0 + R, X1 - R, Y0, X1 - R, Y0 + R, clockwise=True),
    corner(X0, Y0 + R, X0 + R, Y0, X0 + R, Y0 + R),
    line(X0, Y0 + R, X0, Y1 - R),
    line(X1, Y0 + R, X1, Y1 - R),
    corner(X1, Y1 - R, X1 - R, Y1, X1 - R, Y1 - R),
    corner(X0 + R, Y1, X0, Y1 - R, X0 + R, Y1 - R),
    Arc.from_circle(35.0, 40.0, 3.0, PEN, unit=MM),
]

for name, unit in [("profile-mm.gbr", MM), ("profile-inch.gbr", Inch)]:
    layer = GerberFile(objects=PIECES, file_attrs={".FileFunction": ("Profile", "NP")})
    layer.save(HERE / name, FileSettings(unit=unit, number_format=(4, 6)))


def dateless(layer):
    """Its text without the date, so that it is the same every time."""
    return "\n".join(line for line in layer.dumps_gerber().splitlines() if "CreationDate" not in line) + "\n"


# The same edge as one path, with the attributes in comments.
path = gerber_writer.Path()
path.moveto((X0 + R, Y0))
path.lineto((X1 - R, Y0))
path.arcto((X1, Y0 + R), (X1 - R, Y0 + R), "+")
path.lineto((X1, Y1 - R))
path.arcto((X1 - R, Y1), (X1 - R, Y1 - R), "+")
path.lineto((X0 + R, Y1))
path.arcto((X0, Y1 - R), (X0 + R, Y1 - R), "+")
path.lineto((X0, Y0 + R))
path.arcto((X0 + R, Y0), (X0 + R, Y0 + R), "+")
layer = gerber_writer.DataLayer("Profile,NP")
layer.add_traces_path(path, 0.1, "Profile")
(HERE / "profile-comments.gbr").write_text(dateless(layer))
layer = gerber_writer.DataLayer("Copper,L1,Top,Signal")
layer.add_trace_line((0, 0), (10, 5), 0.2, "Conductor")
(HERE / "copper.gbr").write_text(dateless(layer))

# designator, x, y, rotation, side, package, body along x and y before rotation, value; a body drawn or not.
PARTS = [
    ("R1", 10.0, 20.0, 0, "top", "R_0805_2012Metric", 2.0, 1.25, "4K7", "Body"),
    ("U1", 40.0, 30.0, 30, "top", "QFN-32", 5.0, 5.0, "controller", "Body"),
    ("D1", 22.5, 41.25, -90, "top", "SMB", 4.6, 3.6, "18 V", "Body"),
    ("C1", 60.0, 25.0, 90, "top", "C_1210_3225Metric", 3.2, 2.5, "10\u00b5F", None),
    ("J1", 5.0, 55.0, 0, "top", "TERM-2", 9.0, 13.0, "supply", "Courtyard"),
    ("Q1", 30.0, 20.0, 25, "bottom", "DPAK", 6.1, 6.6, "switch", "Body"),
    ("L1", 55.0, 50.0, 90, "bottom", "choke", 7.0, 5.0, "22\u00b5H", "Lead2Lead"),
]
# The reference point of this part is its first pin, this far from the middle of its body.
FIRST_PIN = {"J1": (-2.5, 0.0)}

with open(HERE / "placement.csv", "w", newline="", encoding="utf-8") as file:
    table = csv.writer(file, lineterminator="\n")
    table.writerow(
        "Designator,Center-X(mm),Center-Y(mm),Rotation,Layer,Package,Size-X(mm),Size-Y(mm),Value".split(","))
    table.writerows((name, x, y, turn, side, package, sx, sy, value)
                    for name, x, y, turn, side, package, sx, sy, value, _ in PARTS)


def turned(x, y, angle, dx, dy):
    c, s = cos(radians(angle)), sin(radians(angle))
    return x + c * dx - s * dy, y + s * dx + c * dy


def place(x, y, code):
    return f"X{round(x * 1e6)}Y{round(y * 1e6)}{code}*"


def component_layer(side):
    function = {"top": "Component,L1,Top", "bottom": "Component,L2,Bot"}[side]
    lines = [f"%TF.FileFunction,{function}*%", "%TF.FilePolarity,Positive*%", "%FSLAX46Y46*%", "%MOMM*%", "%LPD*%",
             "G01*", "%TA.AperFunction,ComponentMain*%", "%ADD10C,0.300*%"]
    kinds = ["Body", "Lead2Lead", "Courtyard"]
    for code, kind in enumerate(kinds, 11):
        lines += [f"%TA.AperFunction,ComponentOutline,{kind}*%", f"%ADD{code}C,0.100*%"]
    lines += ["%TA.AperFunction,ComponentPin*%", "%ADD20P,0.360X4X0.0*%", "%TD*%"]
    for name, x, y, turn, on, package, sx, sy, value, drawn in PARTS:
        if on != side:
            continue
        main = turned(x, y, turn, *FIRST_PIN.get(name, (0, 0)))
        lines += ["D10*", f"%TO.C,{name}*%", f"%TO.CFtp,{package}*%", f"%TO.CVal,{value}*%", "%TO.CMnt,SMD*%",
                  f"%TO.CRot,{turn}*%", place(*main, "D03")]
        corners = [turned(x, y, turn, dx * sx / 2, dy * sy / 2) for dx, dy in
                   [(-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1)]]
        if drawn:
            lines += [f"D{11 + kinds.index(drawn)}*", place(*corners[0], "D02")]
            lines += [place(*at, "D01") for at in corners[1:]]
        lines += ["D20*", f"%TO.P,{name},1*%", place(*main, "D03"), "%TD*%"]
    return "\n".join(lines) + "\nM02*\n"


rows = []
for side in ["top", "bottom"]:
    name = f"components-{side}.gbr"
    (HERE / name).write_text(component_layer(side), encoding="utf-8")
    for made in GerberFile.open(HERE / name).objects:
        if isinstance(made, Flash) and dict(made.aperture.attrs).get(".AperFunction") == ("ComponentMain",):
            said = dict(made.attrs)
            rows.append([side, *(said[key][0] for key in (".C", ".CRot", ".CFtp", ".CVal")),
                         round(made.x, 6), round(made.y, 6)])
with open(HERE / "components.csv", "w", newline="", encoding="utf-8") as file:
    table = csv.writer(file, lineterminator="\n")
    table.writerow(["side", "designator", "rotation", "footprint", "value", "reference_x_mm", "reference_y_mm"])
    table.writerows(rows)
