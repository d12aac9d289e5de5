"""Writes tests/data/exports/small.xls: the 60 tests of tests/pipeline/flavours.rs in the old workbook format.

Python 3, xlwt 1.3.0. Three sheets: notes without a table, the results (a title merged over the table, true dates,
every fourth reading a number kept as text), and a hidden sheet whose rows must not count.
"""

import datetime
import pathlib

import xlwt

book = xlwt.Workbook(encoding="utf-8")
book.add_sheet("Notes").write(0, 0, "Exported by night shift")
sheet = book.add_sheet("Results")
sheet.write_merge(0, 0, 0, 8, "Safety tests")
names = ["Date", "Time", "Model", "Serial no.", "Station", "Voltage [V]", "Frequency [Hz]", "Leakage [mA]", "High limit [mA]", "Result"]
for n, name in enumerate(names):
    sheet.write(2, n, name)
day_style = xlwt.easyxf(num_format_str="yyyy-mm-dd")
time_style = xlwt.easyxf(num_format_str="hh:mm:ss")
hidden = book.add_sheet("Old")
hidden.visibility = 1
for n, name in enumerate(names):
    hidden.write(0, n, name)
for n in range(60):
    day = datetime.date(2026, 2, 9) + datetime.timedelta(days=n // 3)
    clock = datetime.time(11 + n % 3, 5 * (n % 12), n % 60)
    ua, word = 900 + n * 37 % 100, "Pass"
    if n in (7, 21, 35, 49):
        ua, word = 1310 + n, "Too high"
    if n in (13, 50):
        ua, word = None, "Flashover"
    row = n + 3
    sheet.write(row, 0, day, day_style)
    sheet.write(row, 1, clock, time_style)
    sheet.write(row, 2, "M1")
    sheet.write(row, 3, f"U-{n:03}")
    sheet.write(row, 4, "S1")
    sheet.write(row, 5, 1500)
    sheet.write(row, 6, 50)
    if ua is not None:
        sheet.write(row, 7, f"{ua / 1000:.3f}" if n % 4 == 0 else ua / 1000)
    sheet.write(row, 8, 1.3)
    sheet.write(row, 9, word)
for n, cell in enumerate(["2026-02-09", "11:00:00", "M9", "X", "S1", 1500, 50, 0.5, 1.3, "Pass"]):
    hidden.write(1, n, cell)
book.save(pathlib.Path(__file__).parent.parent / "data" / "exports" / "small.xls")
