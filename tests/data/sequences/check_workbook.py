"""Reads the workbook and the CSV that tests/sequences/trend_export.rs leaves behind and compares them.

Needs openpyxl in an environment outside the repository. Usage: check_workbook.py FOLDER
"""

import csv
import pathlib
import sys

import openpyxl

folder = pathlib.Path(sys.argv[1])
sheet = openpyxl.load_workbook(folder / "trend.xlsx")["trend"]
with open(folder / "trend.csv", encoding="utf-8", newline="") as file:
    rows = list(csv.reader(file))
assert sheet.freeze_panes == "C2", sheet.freeze_panes
assert (sheet.max_row, sheet.max_column) == (len(rows), len(rows[0]))
empty = 0
for row, cells in zip(rows, sheet.iter_rows()):
    for text, cell in zip(row, cells):
        if cell.value is None:
            assert text == "", (cell.coordinate, text)
            empty += 1
        elif cell.data_type == "n":
            assert float(text) == cell.value, (cell.coordinate, text, cell.value)
        else:
            # What looks like a formula is quoted in the CSV and plain text in the workbook.
            assert cell.data_type == "s" and text in (cell.value, "'" + cell.value), (cell.coordinate, text)
print(f"openpyxl {openpyxl.__version__}: {sheet.max_row} rows of {sheet.max_column} agree, {empty} cells are empty")
