"""Film and power files as a spreadsheet or a bicycle computer writes them, good ones and hostile ones."""

import struct
import sys

import numpy as np
import pytest

from fitkit.readers import FileProblems
from fitkit.readers.film import read_film
from fitkit.readers.power import read_power

SETTINGS = ("mm_per_unit,2", "sideways_axis,x", "rider_left,more", "upward,less")
HEADING = "time_s,left_pedal_x,left_pedal_y,left_knee_x,left_knee_y"
ROWS = ("0.00,400,500,410,200", "0.04,400,490,,", "0.08,401,480,412,201")


def saved(folder, lines, *, name="film.csv", encoding="utf-8"):
    path = folder / name
    path.write_bytes("\r\n".join(lines).encode(encoding))
    return path


def problems_of(read, path):
    with pytest.raises(FileProblems, match="cannot be used") as found:
        read(path)
    return [str(problem) for problem in found.value.problems]


def test_points_become_mm_outward_and_up(tmp_path):
    film = read_film(saved(tmp_path, [*SETTINGS, HEADING, *ROWS]))
    assert film.right is None
    assert film.lines == (6, 7, 8)
    np.testing.assert_array_equal(film.time_s, [0, 0.04, 0.08])
    np.testing.assert_array_equal(film.left.pedal_outward_mm, [800, 800, 802])
    np.testing.assert_array_equal(film.left.pedal_up_mm, [-1000, -980, -960])
    np.testing.assert_array_equal(film.left.knee_outward_mm, [820, np.nan, 824])  # blank stays missing


def test_the_right_side_is_outward_the_other_way(tmp_path):
    both = [",".join([row, *row.split(",")[1:]]) for row in ROWS]
    heading = HEADING + ",right_pedal_x,right_pedal_y,right_knee_x,right_knee_y"
    film = read_film(saved(tmp_path, [*SETTINGS, heading, *both]))
    np.testing.assert_array_equal(film.right.pedal_outward_mm, -film.left.pedal_outward_mm)
    np.testing.assert_array_equal(film.right.pedal_up_mm, film.left.pedal_up_mm)


def test_a_camera_on_its_side_is_told_by_its_axis(tmp_path):
    settings = ("mm_per_unit,2", "sideways_axis,y", "rider_left,less", "upward,more")
    film = read_film(saved(tmp_path, [*settings, HEADING, *ROWS]))
    np.testing.assert_array_equal(film.left.pedal_outward_mm, [-1000, -980, -960])
    np.testing.assert_array_equal(film.left.pedal_up_mm, [800, 800, 802])


@pytest.mark.parametrize(
    ("change", "encoding"),
    [
        (lambda line: line, "utf-8-sig"),
        (lambda line: line + ",,," if line.count(",") == 1 else line, "utf-8"),  # as spreadsheets pad short rows
        (lambda line: line.replace(",", ";").replace(".", ","), "utf-8"),
        (lambda line: line.replace(",", "\t"), "utf-8"),
        (lambda line: line.upper() if line[0].isalpha() else line, "utf-8"),
        (lambda line: line + "\r\n", "utf-8"),
    ],
)
def test_what_other_spreadsheets_write_reads_the_same(tmp_path, change, encoding):
    plain = read_film(saved(tmp_path, [*SETTINGS, HEADING, *ROWS]))
    other = read_film(saved(tmp_path, [change(line) for line in (*SETTINGS, HEADING, *ROWS)], encoding=encoding))
    np.testing.assert_array_equal(other.left.knee_outward_mm, plain.left.knee_outward_mm)
    np.testing.assert_array_equal(other.time_s, plain.time_s)


def test_columns_that_are_not_used_are_said(tmp_path):
    film = read_film(saved(tmp_path, [*SETTINGS, HEADING + ",note", *(row + ",top" for row in ROWS)]))
    assert film.notes == ("columns left alone: note",)


def test_readings_cannot_be_written_over(tmp_path):
    film = read_film(saved(tmp_path, [*SETTINGS, HEADING, *ROWS]))
    with pytest.raises(ValueError, match="read-only"):
        film.time_s[0] = 1


def test_every_problem_is_said_at_once_with_its_line(tmp_path):
    lines = [
        "mm_per_unit,-2",
        "sideways_axis,z",
        "camera,mine",
        HEADING,
        "0,1,2,3,4",
        "0.04,x,2,3,",
        ",1,2,3,4",
        "nan,1,2,3,4",
    ]
    assert problems_of(read_film, saved(tmp_path, lines)) == [
        "line 3: 'camera' is not known; expected one of mm_per_unit, sideways_axis, rider_left, upward",
        "line 1: mm_per_unit is '-2'; expected how many millimetres one unit of the points is, 1 for mm",
        "line 2: sideways_axis is 'z'; expected x or y",
        "line 4: rider_left is not stated above the column names; expected more or less",
        "line 4: upward is not stated above the column names; expected more or less",
        "line 7: time_s is blank; expected a number",
        "line 8: time_s is 'nan'; expected a number or nothing",
        "line 6: left_pedal_x is 'x'; expected a number or nothing",
        "line 6: left_pedal has only one of its two numbers; expected both or neither",
        "line 6: left_knee has only one of its two numbers; expected both or neither",
    ]


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ([*SETTINGS, HEADING + ",rider", *(row + ",a" for row in ROWS[:2]), ROWS[2] + ",b"],
         "line 8: the rider changes; the file holds 2 riders, expected one"),
        ([*SETTINGS, HEADING, *ROWS, *ROWS],
         "line 9: time_s is 0 after 0.08; expected it to rise. Two riders or two recordings in one file?"),
        ([*SETTINGS, HEADING + ",left_knee_x", *ROWS],
         "line 5: the column left_knee_x stands more than once; expected one rider, once"),
        ([*SETTINGS, "time_s,left_pedal_x,left_pedal_y,left_knee_x", *ROWS],
         "line 5: left_knee_x is there without left_knee_y; a point needs both"),
        ([*SETTINGS, "time_s,left_pedal_x,left_pedal_y", *ROWS],
         "line 5: no side has both its pedal and its knee; expected left_pedal_x, left_pedal_y, left_knee_x, "
         "left_knee_y, or the same for the right"),
        ([*SETTINGS, SETTINGS[0], HEADING, *ROWS], "line 5: mm_per_unit stands already on line 1; expected it once"),
        ([*SETTINGS, HEADING], "line 5: no points stand below the column names"),
        ([*SETTINGS, *ROWS], "no row names the columns; expected one that starts with time_s"),
        ([], "it is empty; expected a table"),
        (['mm_per_unit,"2', HEADING], "the cells cannot be told apart (unexpected end of data); save it again"),
        (["a\0b", HEADING], "it is no text; save it as 'CSV UTF-8'"),
    ],
)  # fmt: skip
def test_a_film_that_cannot_be_used_is_said(tmp_path, lines, said):
    assert said in problems_of(read_film, saved(tmp_path, lines))


def test_what_is_no_text_file_is_said(tmp_path):
    assert problems_of(read_film, tmp_path) == ["it cannot be read: Is a directory"]
    for name in ("none.csv", "none.fit"):
        assert problems_of(read_power, tmp_path / name) == ["it cannot be read: No such file or directory"]
    wide = saved(tmp_path, [*SETTINGS, HEADING, *ROWS], encoding="utf-16")
    assert problems_of(read_film, wide) == ["it is not UTF-8 text; save it as 'CSV UTF-8'"]


def test_a_file_far_too_large_is_not_read(tmp_path):
    with (tmp_path / "large.fit").open("wb") as file:
        file.truncate(40_000_000)
    assert problems_of(read_power, tmp_path / "large.fit")[0].startswith("it is larger than 32 MB")


def test_a_file_wrong_from_top_to_bottom_lists_the_first_problems_only(tmp_path):
    path = saved(tmp_path, [*SETTINGS, HEADING, *(f"{k},x,x,1,1" for k in range(100))])
    with pytest.raises(FileProblems, match="and 180 more like these"):
        read_film(path)


POWER = ("time_s,power_w,cadence_rpm", "0,180,88", "0.25,,90", "0.5,1140,")


def test_a_power_table_is_read_as_it_stands(tmp_path):
    samples = read_power(saved(tmp_path, POWER, name="power.csv"))
    np.testing.assert_array_equal(samples.time_s, [0, 0.25, 0.5])
    np.testing.assert_array_equal(samples.power_w, [180, np.nan, 1140])
    np.testing.assert_array_equal(samples.cadence_rpm, [88, 90, np.nan])


def test_cadence_may_be_left_out(tmp_path):
    samples = read_power(saved(tmp_path, ["time_s;power_w;heart", "0;180,5;90", "1;200;91"], name="power.csv"))
    np.testing.assert_array_equal(samples.power_w, [180.5, 200])
    assert np.isnan(samples.cadence_rpm).all()
    assert samples.notes == ("columns left alone: heart",)


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (["time,power", "0,180"], "line 1: no column is called power_w; found time, power"),
        (["time_s,power_w", "0,-5"], "line 2: power_w is -5; expected 0 or more"),
        (["time_s,power_w", "0,1e999"], "line 2: power_w is '1e999'; expected a number or nothing"),
        (["time_s,power_w", "1,180", "0,190"], "line 3: time_s is 0 after 1; expected it to rise."),
        (["time_s,power_w"], "line 1: no samples stand below the column names"),
    ],
)
def test_a_power_table_that_cannot_be_used_is_said(tmp_path, lines, said):
    assert any(problem.startswith(said) for problem in problems_of(read_power, saved(tmp_path, lines, name="p.csv")))


# --- FIT ---------------------------------------------------------------------------------------------------------
# Written here byte by byte after the published protocol: header, one definition of message 20 (record) with
# timestamp (253, uint32), power (7, uint16) and cadence (4, uint8), the records, a CRC.

CRC_TABLE = (0x0000, 0xCC01, 0xD801, 0x1400, 0xF001, 0x3C00, 0x2800, 0xE401,
             0xA001, 0x6C00, 0x7800, 0xB401, 0x5000, 0x9C01, 0x8801, 0x4400)  # fmt: skip


def crc(data):
    total = 0
    for byte in data:
        for nibble in (byte & 0xF, byte >> 4):
            total = ((total >> 4) & 0x0FFF) ^ CRC_TABLE[total & 0xF] ^ CRC_TABLE[nibble]
    return total


def fit_file(records):
    body = struct.pack("<BBBHB", 0x40, 0, 0, 20, 3) + bytes([253, 4, 0x86, 7, 2, 0x84, 4, 1, 0x02])
    body += b"".join(struct.pack("<BIHB", 0, *record) for record in records)
    head = struct.pack("<BBHI4s", 14, 0x10, 2100, len(body), b".FIT")
    head += struct.pack("<H", crc(head))
    return head + body + struct.pack("<H", crc(head + body))


def test_a_fit_file_is_read(tmp_path):
    pytest.importorskip("fitdecode")
    path = tmp_path / "ride.fit"
    path.write_bytes(fit_file([(1_000_000_000 + k, 200 + k, 90) for k in range(5)] + [(1_000_000_004, 0xFFFF, 0xFF)]))
    samples = read_power(path)
    np.testing.assert_array_equal(samples.time_s, [0, 1, 2, 3, 4])
    np.testing.assert_array_equal(samples.power_w, [200, 201, 202, 203, 204])
    np.testing.assert_array_equal(samples.cadence_rpm, [90] * 5)
    assert samples.notes == ("1 records of a moment already there left out",)


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda data: data[:-9], "it is no whole FIT file"),
        (lambda data: data[:20] + b"\x99" + data[21:], "it is no whole FIT file"),
        (lambda data: b"time_s,power_w", "it is no whole FIT file"),
        (lambda data: b"", "it holds no records with a time"),
        (lambda data: fit_file([(1_000_000_000, 0xFFFF, 90)]), "it holds no power"),
        (lambda data: fit_file([(1_000_000_009, 200, 90), (1_000_000_000, 200, 90)]), "its times go back"),
        (lambda data: fit_file([]), "it holds no records with a time"),
    ],
)
def test_a_damaged_fit_file_is_said(tmp_path, spoil, said):
    pytest.importorskip("fitdecode")
    path = tmp_path / "ride.fit"
    path.write_bytes(spoil(fit_file([(1_000_000_000 + k, 200, 90) for k in range(9)])))
    assert problems_of(read_power, path)[0].startswith(said)


def test_a_fit_file_without_its_reader_says_what_to_install(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "fitdecode", None)
    path = tmp_path / "ride.FIT"
    path.write_bytes(fit_file([]))
    assert problems_of(read_power, path)[0].startswith("reading FIT files needs fitdecode, which is not installed")
