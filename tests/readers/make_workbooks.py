"""Writes workbooks and column files with foreign libraries, and what these libraries say is in them.

    python make_workbooks.py FOLDER

The Rust test `outside` reads the folder. Texts of expected.json come from the foreign reader wherever there is one, not from the
values that were written.
"""

import datetime as dt
import json
import pathlib
import sys

import odf.opendocument
import odf.table
import odf.text
import openpyxl
import openpyxl.utils.datetime as excel_time
import polars
import pyarrow
import pyarrow.feather
import pyarrow.parquet

UTC = dt.timezone.utc


def clock(value):
    """A time with milliseconds, and more only where there is more."""
    return value.isoformat(timespec="microseconds" if value.microsecond % 1000 else "milliseconds")


def duration(value):
    """Hours that run on, minutes, seconds, milliseconds."""
    whole = round(value.total_seconds() * 1000)
    sign, whole = ("-", -whole) if whole < 0 else ("", whole)
    return f"{sign}{whole // 3_600_000:02}:{whole // 60_000 % 60:02}:{whole // 1000 % 60:02}.{whole % 1000:03}"


def text(value):
    """What a value must be shown as."""
    if value is None or value != value:
        return None
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() else repr(value)
    if isinstance(value, (dt.datetime, dt.time)):
        return clock(value)
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, dt.timedelta):
        return duration(value)
    return str(value)


class Folder:
    """The files and what they hold."""

    def __init__(self, path):
        self.path = pathlib.Path(path)
        self.path.mkdir(parents=True, exist_ok=True)
        self.files = []

    def add(self, file, engine, source, fields, rows, dialect="", preamble=()):
        self.files.append(
            {
                "file": file,
                "engine": engine,
                "dialect": dialect,
                "source": source,
                "fields": fields,
                "rows": [(line, [text(value) for value in values]) for line, values in rows],
                "preamble": list(preamble),
            }
        )


DAYS = [
    dt.datetime(1900, 1, 1),
    dt.datetime(1900, 2, 28, 23, 59, 59, 999000),
    dt.datetime(1900, 3, 1),
    dt.datetime(1904, 1, 2, 12),
    dt.datetime(1999, 12, 31, 23, 59, 59, 999000),
    dt.datetime(2000, 2, 29, 0, 0, 0, 1000),
    dt.datetime(2026, 3, 29, 2, 30),
    dt.datetime(2026, 4, 12, 10, 20, 30, 123000),
    dt.datetime(2199, 12, 31, 23, 59, 59, 1000),
]


def openpyxl_books(folder):
    """Dates of both systems, given back by openpyxl's own reader."""
    for name, epoch in (("1900", excel_time.WINDOWS_EPOCH), ("1904", excel_time.MAC_EPOCH)):
        book = openpyxl.Workbook()
        book.epoch = epoch
        book.active.title = "Notes"
        book.active["A1"] = "no shots here"
        sheet = book.create_sheet("Shots")
        sheet["A1"], sheet["C1"] = "Session:", "evening"
        sheet.append([])
        sheet.append(["when", "day", "clock", "lasted", "speed", "name", "flag"])
        for place, instant in enumerate(DAYS):
            if instant < epoch:
                continue
            sheet.append(
                [
                    instant,
                    instant.date(),
                    dt.time(place, 20, 30, 123000),
                    dt.timedelta(hours=20 * place, milliseconds=500),
                    [50.5, -0.125, 1 / 3, 41, 0.1 + 0.2][place % 5],
                    [" =A1", "Ößé <&>", "many\nlines", "007", "1,5"][place % 5],
                    place % 2 == 0,
                ]
            )
            for column, look in enumerate(["yyyy-mm-dd hh:mm:ss.000", "dd/mm/yyyy", "hh:mm:ss", "[h]:mm:ss"]):
                sheet.cell(sheet.max_row, column + 1).number_format = look
            sheet.cell(sheet.max_row, 6).data_type = "s"
            if place == 3:
                sheet.append([None] * 7)
                sheet.row_dimensions[sheet.max_row].height = 30
        file = f"openpyxl-{name}.xlsx"
        book.save(folder.path / file)
        seen = openpyxl.load_workbook(folder.path / file)["Shots"]
        header, rows = None, []
        for number, cells in enumerate(seen.iter_rows(values_only=True), 1):
            if header and any(value is not None for value in cells):
                values = list(cells)
                # A cell that looks like a date is given back with a time.
                values[1] = values[1].date() if isinstance(values[1], dt.datetime) else values[1]
                values[5] = values[5].strip()
                rows.append((number, values))
            elif cells[0] == "when":
                header = list(cells)
        dialect = 'sheetName = "Shots"\npreamble = { lines = 2 }'
        folder.add(file, "spreadsheet", "openpyxl writes and reads", header, rows, dialect, [("session", "evening")])


def from_excel_table(folder):
    """Bare counts under date formats, each against openpyxl's from_excel."""
    counts = [0.25, 1.0, 31.5, 59.0, 61.0, 366.75, 1462.0, 36585.000694444, 45000.123456789, 46124.43090277778, 73050.999999]
    for name, epoch in (("1900", excel_time.WINDOWS_EPOCH), ("1904", excel_time.MAC_EPOCH)):
        book = openpyxl.Workbook()
        book.epoch = epoch
        book.active.append(["when", "count"])
        for count in counts:
            book.active.append([count, count])
            book.active.cell(book.active.max_row, 1).number_format = "yyyy-mm-dd hh:mm:ss"
        file = f"counts-{name}.xlsx"
        book.save(folder.path / file)
        rows = [(line, [excel_time.from_excel(count, epoch), count]) for line, count in enumerate(counts, 2)]
        folder.add(file, "spreadsheet", "openpyxl from_excel", ["when", "count"], rows)


def odf_book(folder):
    """An OpenDocument sheet with repeated rows and cells."""
    book = odf.opendocument.OpenDocumentSpreadsheet()
    table = odf.table.Table(name="Shots")
    book.spreadsheet.addElement(table)

    def cell(row, shown="", repeated=None, **values):
        made = odf.table.TableCell(**values, **({"numbercolumnsrepeated": repeated} if repeated else {}))
        if shown:
            made.addElement(odf.text.P(text=shown))
        row.addElement(made)

    def row(repeated=None):
        made = odf.table.TableRow(**({"numberrowsrepeated": repeated} if repeated else {}))
        table.addElement(made)
        return made

    head = row()
    for name in ["when", "clock", "speed", "again", "name", "flag"]:
        cell(head, name, valuetype="string")
    cell(row(repeated=4), repeated=1000)
    rows, line = [], 6
    for place, instant in enumerate(DAYS[3:]):
        made = row(repeated=2 if place == 1 else None)
        time = dt.time(place, 20, 30, 500000)
        cell(made, "shown", valuetype="date", datevalue=instant.isoformat())
        cell(made, "shown", valuetype="time", timevalue=f"PT{place:02}H20M30.5S")
        cell(made, "shown", repeated=2, valuetype="float", value=str(50.5 + place))
        cell(made, f"Ößé <{place}>", valuetype="string")
        cell(made, "shown", valuetype="boolean", booleanvalue="true" if place % 2 else "false")
        for _ in range(2 if place == 1 else 1):
            rows.append((line, [instant, time, 50.5 + place, 50.5 + place, f"Ößé <{place}>", bool(place % 2)]))
            line += 1
    cell(row(repeated=1_000_000), repeated=1000)
    book.save(str(folder.path / "odfpy.ods"))
    fields = ["when", "clock", "speed", "again", "name", "flag"]
    folder.add("odfpy.ods", "spreadsheet", "odfpy writes", fields, rows)


def table():
    """Rows of many types."""
    instants = [value.replace(tzinfo=UTC) for value in DAYS]
    count = len(instants)
    numbers = [None if place == 2 else 0.1 * place for place in range(count)]
    names = [None if place == 4 else f"Ößé {place % 3}" for place in range(count)]
    columns = {
        "seconds": pyarrow.array([value.replace(microsecond=0) for value in DAYS], pyarrow.timestamp("s")),
        "millis": pyarrow.array(DAYS, pyarrow.timestamp("ms")),
        "micros_utc": pyarrow.array(instants, pyarrow.timestamp("us", "UTC")),
        "nanos": pyarrow.array(DAYS, pyarrow.timestamp("ns")),
        "day": pyarrow.array([value.date() for value in DAYS], pyarrow.date32()),
        "clock": pyarrow.array([value.time() for value in DAYS], pyarrow.time64("us")),
        "lasted": pyarrow.array([dt.timedelta(milliseconds=1500 * place) for place in range(count)], pyarrow.duration("ms")),
        "double": pyarrow.array(numbers, pyarrow.float64()),
        "whole": pyarrow.array(range(count), pyarrow.int16()),
        "large": pyarrow.array([2**64 - 1 - place for place in range(count)], pyarrow.uint64()),
        "name": pyarrow.array(names, pyarrow.string()),
        "long_name": pyarrow.array(names, pyarrow.large_string()),
        "word": pyarrow.array(names, pyarrow.string()).dictionary_encode(),
        "flag": pyarrow.array([place % 2 == 0 for place in range(count)]),
        "decimal": pyarrow.array(numbers).cast(pyarrow.decimal128(12, 3), safe=False),
        "ball": pyarrow.array([{"speed": number, "name": name} for number, name in zip(numbers, names)]),
        "list": pyarrow.array([[place, place + 1][: place % 3] for place in range(count)], pyarrow.list_(pyarrow.int32())),
    }
    return pyarrow.table(columns)


def flat(whole):
    """Names and rows of a table, its structure and list taken apart."""
    fields = [name for name in whole.column_names if name not in ("ball", "list")] + ["ball.speed", "ball.name", "list.0", "list.1"]
    rows = []
    for line, row in enumerate(whole.to_pylist(), 1):
        values = []
        for field in fields:
            name, _, member = field.partition(".")
            value = row[name]
            if name == "list":
                value = value[int(member)] if int(member) < len(value) else None
            elif member:
                value = value[member]
            values.append(value)
        rows.append((line, values))
    return fields, rows


def arrow_files(folder):
    """Parquet of every codec and both page versions, Feather, streams."""
    whole = table().replace_schema_metadata({"session": "evening"})
    fields, rows = flat(whole)
    stated = [("session", "evening")]
    for codec in ["none", "snappy", "gzip", "zstd", "lz4"]:
        for version in ["1.0", "2.0"]:
            file = f"pyarrow-{codec}-{version}.parquet"
            pyarrow.parquet.write_table(whole, folder.path / file, compression=codec, data_page_version=version, row_group_size=4)
            back = flat(pyarrow.parquet.read_table(folder.path / file))
            folder.add(file, "parquet", "pyarrow writes and reads", *back, preamble=stated)
    encodings = {"name": "DELTA_BYTE_ARRAY", "long_name": "DELTA_LENGTH_BYTE_ARRAY", "whole": "DELTA_BINARY_PACKED", "double": "BYTE_STREAM_SPLIT"}
    pyarrow.parquet.write_table(whole, folder.path / "encodings.parquet", use_dictionary=False, column_encoding=encodings)
    folder.add("encodings.parquet", "parquet", "pyarrow writes", *flat(pyarrow.parquet.read_table(folder.path / "encodings.parquet")))
    for codec in ["uncompressed", "lz4", "zstd"]:
        file = f"pyarrow-{codec}.feather"
        pyarrow.feather.write_feather(whole, str(folder.path / file), compression=codec, chunksize=4)
        folder.add(file, "arrow", "pyarrow writes", fields, rows, preamble=stated)
        options = pyarrow.ipc.IpcWriteOptions(compression=None if codec == "uncompressed" else codec)
        with pyarrow.ipc.new_stream(str(folder.path / f"{codec}.arrows"), whole.schema, options=options) as writer:
            writer.write_table(whole, max_chunksize=4)
        folder.add(f"{codec}.arrows", "arrow", "pyarrow writes", fields, rows, preamble=stated)
    # Shortest texts of single precision, by pyarrow's own cast.
    singles = pyarrow.array([0.1, 50.55, -1 / 3, None, 16777216.0], pyarrow.float32())
    shown = [None if text is None else text for text in singles.cast(pyarrow.string()).to_pylist()]
    pyarrow.parquet.write_table(pyarrow.table({"single": singles}), folder.path / "single.parquet")
    folder.add("single.parquet", "parquet", "pyarrow casts to text", ["single"], [(line, [text]) for line, text in enumerate(shown, 1)])


def polars_files(folder):
    """What polars makes of the same rows: views, other defaults."""
    frame = polars.from_arrow(table().drop_columns(["decimal"]))
    fields, rows = flat(frame.to_arrow())
    for codec in ["uncompressed", "snappy", "gzip", "zstd", "lz4"]:
        frame.write_parquet(folder.path / f"polars-{codec}.parquet", compression=codec)
        folder.add(f"polars-{codec}.parquet", "parquet", "polars writes", fields, rows)
    for codec in ["uncompressed", "lz4", "zstd"]:
        frame.write_ipc(folder.path / f"polars-{codec}.arrow", compression=codec)
        folder.add(f"polars-{codec}.arrow", "arrow", "polars writes", fields, rows)


def main():
    """All of them."""
    folder = Folder(sys.argv[1])
    openpyxl_books(folder)
    from_excel_table(folder)
    odf_book(folder)
    arrow_files(folder)
    polars_files(folder)
    (folder.path / "expected.json").write_text(json.dumps(folder.files, ensure_ascii=False, indent=1), encoding="utf-8")
    print(f"{len(folder.files)} files in {folder.path}")


if __name__ == "__main__":
    main()
