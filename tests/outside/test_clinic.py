"""The clinical core's figures and data files against other people's software.

pingouin (intraclass correlation), statsmodels (Wilson interval), pandas and SciPy (the public
ANSUR II file, Mahalanobis distance, limits of agreement), pint (units), shapely (areas of
polygons), jsonschema (shape of the data files).
"""

import json
import math
import subprocess
import tomllib
from pathlib import Path

import jsonschema
import numpy as np
import pandas as pd
import pingouin
import pint
import pytest
from conftest import program_path
import shapely
from scipy import stats
from scipy.spatial.distance import mahalanobis
from statsmodels.stats.proportion import proportion_confint

ROOT = Path(__file__).resolve().parents[2]
DATA = ROOT / "core/visit/data"
OTHERS = ROOT.parent / "shared/data"


def ours(**request):
    """What the program computes for a request."""
    command = [program_path().parent / "examples" / "figures"]
    done = subprocess.run(command, input=json.dumps(request), capture_output=True, text=True, cwd=ROOT)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def others(path):
    """A file made by others, or the test is skipped."""
    if not (OTHERS / path).exists():
        pytest.skip("data not here")
    return OTHERS / path


def toml(name):
    return tomllib.loads((DATA / name).read_text())


# Shrout & Fleiss 1979, Psychol Bull 86:420-428, Table 2.
SHROUT_FLEISS = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
FORMS = {"icc_1_1": 0, "icc_2_1": 1, "icc_3_1": 2, "icc_1_k": 3, "icc_2_k": 4, "icc_3_k": 5}


def long(rows):
    cells = [(i, j, x) for i, row in enumerate(rows) for j, x in enumerate(row)]
    return pd.DataFrame(cells, columns=["target", "judge", "x"])


def wine():
    table = pingouin.read_dataset("icc")
    return table.pivot(index="Wine", columns="Judge", values="Scores").to_numpy().tolist()


def tables():
    rng = np.random.default_rng(20)
    found = {"shrout_fleiss": SHROUT_FLEISS, "wine": wine()}
    for n, k, judge_sd, noise in [(5, 2, 0.0, 1.0), (12, 3, 2.0, 0.5), (40, 4, 0.3, 2.0), (30, 2, 5.0, 0.1)]:
        table = rng.normal(10, 3, (n, 1)) + rng.normal(0, judge_sd, (1, k)) + rng.normal(0, noise, (n, k))
        found[f"made_{n}_{k}"] = table.tolist()
    return found


def test_intraclass_correlations_are_pingouins():
    data = tables()
    got = ours(icc=data)["icc"]
    for name, rows in data.items():
        table = pingouin.intraclass_corr(long(rows), targets="target", raters="judge", ratings="x")
        interval = next(c for c in table.columns if c.startswith("CI95"))
        for form, row in FORMS.items():
            theirs, mine = table.iloc[row], got[name][form]
            assert mine["value"] == pytest.approx(theirs["ICC"], abs=1e-9), (name, form)
            # pingouin rounds its intervals to two digits.
            ends = [mine["low95"], mine["high95"]]
            assert ends == pytest.approx(list(theirs[interval]), abs=0.00501), (name, form)


def test_intraclass_correlations_are_those_computed_elsewhere():
    table = json.loads(others("agreement/results.json").read_text())
    got = ours(icc={"sf": SHROUT_FLEISS, "wine": wine()})["icc"]
    for name, key in [("sf", "ShroutFleiss1979"), ("wine", "pingouin_wine")]:
        theirs, mine = table[key], got[name]
        for form, column in [("icc_1_1", "ICC11"), ("icc_2_1", "ICC21"), ("icc_3_1", "ICC31"),
                             ("icc_1_k", "ICC1k"), ("icc_2_k", "ICC2k"), ("icc_3_k", "ICC3k")]:
            assert mine[form]["value"] == pytest.approx(theirs[column], abs=1e-6)
        for form, column in [("icc_2_1", "ICC21"), ("icc_3_1", "ICC31")]:
            assert mine[form]["low95"] == pytest.approx(theirs[f"{column}_lo"], abs=1e-6)
            assert mine[form]["high95"] == pytest.approx(theirs[f"{column}_hi"], abs=1e-6)
        assert mine["sem_agreement"] == pytest.approx(theirs["SEM_agreement"], abs=1e-6)
        assert mine["sem_consistency"] == pytest.approx(theirs["SEM_consistency"], abs=1e-6)


# Bland & Altman 1986, Lancet i:307-310, Table 1.
WRIGHT1 = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
WRIGHT2 = [490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421]
MINI1 = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
MINI2 = [525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443]


def test_limits_of_agreement():
    rng = np.random.default_rng(3)
    pairs = {"peak flow": list(zip(WRIGHT1, MINI1)), "wright": list(zip(WRIGHT1, WRIGHT2)),
             "mini": list(zip(MINI1, MINI2)), "made": rng.normal(70, 4, (25, 2)).tolist()}
    got = ours(pairs=pairs)
    for name, rows in pairs.items():
        d = np.subtract(*np.array(rows, float).T)
        mine = got["limits"][name]
        assert mine["bias"]["value"] == pytest.approx(d.mean())
        assert mine["sd"] == pytest.approx(d.std(ddof=1))
        low, high = stats.t.interval(0.95, len(d) - 1, d.mean(), stats.sem(d))
        assert [mine["bias"]["low95"], mine["bias"]["high95"]] == pytest.approx([low, high])
        assert mine["upper"]["value"] == pytest.approx(d.mean() + 1.96 * d.std(ddof=1))
        tem = math.sqrt((d @ d) / (2 * len(d)))
        assert got["repeatability"][name]["technical_error"] == pytest.approx(tem)
    table = json.loads(others("agreement/results.json").read_text())
    theirs, mine = table["BA1986_PEFR_wright1_minus_mini1"], got["limits"]["peak flow"]
    assert mine["lower"]["value"] == pytest.approx(theirs["loa_lo"], abs=1e-6)
    assert mine["upper"]["value"] == pytest.approx(theirs["loa_hi"], abs=1e-6)
    assert mine["bias"]["low95"] == pytest.approx(theirs["bias_ci_lo"], abs=1e-6)
    assert mine["se_of_limit"] == pytest.approx(theirs["se_loa_approx_sqrt3s2n"], abs=1e-6)
    for name in ("wright", "mini"):
        theirs = table[f"BA1986_repeat_{name}"]
        mine = got["repeatability"][name]
        assert mine["technical_error"] == pytest.approx(theirs["within_sd"], abs=1e-6)
        assert mine["coefficient"] == pytest.approx(theirs["repeatability_1_96_sqrt2"], rel=1e-6)


def test_wilson_interval_is_statsmodels():
    asked = [(c, n) for n in (1, 2, 7, 40, 200, 5000) for c in {0, 1, n // 3, n // 2, n - 1, n} if 0 <= c <= n]
    for (count, of), mine in zip(asked, ours(wilson=asked)["wilson"]):
        low, high = proportion_confint(count, of, alpha=0.05, method="wilson")
        assert mine["share"]["low95"] == pytest.approx(low, abs=1e-9), (count, of)
        assert mine["share"]["high95"] == pytest.approx(high, abs=1e-9), (count, of)


COLUMNS = {"foot_length_mm": "footlength", "heel_to_first_mtp_mm": "balloffootlength",
           "ball_breadth_mm": "footbreadthhorizontal", "heel_breadth_mm": "heelbreadth",
           "bimalleolar_breadth_mm": "bimalleolarbreadth"}
RANGES = COLUMNS | {"lateral_malleolus_height_mm": "lateralmalleolusheight",
                    "ankle_girth_mm": "anklecircumference", "largest_calf_girth_mm": "calfcircumference"}


def survey():
    return pd.read_csv(others("anthropometry/ansur2_foot_columns.csv"))


def test_survey_figures_are_those_of_its_file():
    table, shipped = survey(), toml("anthropometry.toml")
    assert list(COLUMNS) == shipped["dimensions"]
    for sex in ("male", "female"):
        rows = table[table.gender == sex.capitalize()][list(COLUMNS.values())]
        assert shipped[sex]["n"] == len(rows)
        assert shipped[sex]["mean_mm"] == pytest.approx(rows.mean().tolist(), abs=1e-3)
        assert shipped[sex]["sd_mm"] == pytest.approx(rows.std().tolist(), abs=1e-3)
        assert np.array(shipped[sex]["correlation"]) == pytest.approx(rows.corr().to_numpy(), abs=1e-5)
    limits = {d["key"]: d["adult"] for d in toml("dimensions.toml")["dimension"]}
    for key, column in RANGES.items():
        assert limits[key]["low"] == table[column].min(), key
        assert limits[key]["high"] == table[column].max(), key


def test_mahalanobis_distance_is_scipys_and_its_p_holds_on_the_survey():
    table = survey()
    for sex in ("male", "female"):
        rows = table[table.gender == sex.capitalize()][list(COLUMNS.values())].astype(float)
        inverse = np.linalg.inv(rows.cov().to_numpy())
        mean = rows.mean().to_numpy()
        feet = [{"sex": sex, "mm": dict(zip(COLUMNS, row))} for row in rows.to_numpy().tolist()]
        got = ours(together=feet)["together"]
        theirs = [mahalanobis(row, mean, inverse) ** 2 for row in rows.to_numpy()]
        assert [g["distance2"] for g in got] == pytest.approx(theirs, rel=2e-3, abs=1e-3)
        p = stats.chi2.sf(theirs, 5)
        assert [g["p"] for g in got] == pytest.approx(p.tolist(), abs=2e-3)
        # Asked about: one in a thousand by the normal model, a few more in real people.
        asked = np.mean([g["p"] < 0.001 for g in got])
        assert asked < 0.01, asked
        # What is expected of the worst dimension is what regression on the others gives.
        foot, row = got[0], rows.to_numpy()[0]
        at = list(COLUMNS).index(foot["worst"])
        rest = [i for i in range(5) if i != at]
        c = rows.cov().to_numpy()
        expected = mean[at] + c[at, rest] @ np.linalg.solve(c[np.ix_(rest, rest)], row[rest] - mean[rest])
        assert foot["expected_mm"] == pytest.approx(expected, abs=0.05)


def test_height_of_the_malleoli_hardly_goes_with_foot_length():
    table = survey()
    for sex, most in (("Male", 0.40), ("Female", 0.40)):
        rows = table[table.gender == sex]
        assert rows.lateralmalleolusheight.corr(rows.footlength) < most
        assert rows.balloffootlength.corr(rows.footlength) > 0.9
    assert "lateral_malleolus_height_mm" not in toml("anthropometry.toml")["dimensions"]


def test_units_are_pints():
    ureg = pint.UnitRegistry()
    names = {"in": "inch", "\"": "inch", "lb": "pound", "st": "stone", "°F": "degF", "Cel": "degC", "deg": "degree",
             "rad": "radian", "min": "minute", "h": "hour", "g": "gram"}
    asked = [(12.5, a, b) for a, b in [("cm", "mm"), ("in", "mm"), ("\"", "mm"), ("m", "mm"), ("mm", "cm"),
             ("in", "cm"), ("lb", "kg"), ("st", "kg"), ("g", "kg"), ("rad", "deg"), ("h", "min"), ("°F", "Cel")]]
    for (value, a, b), mine in zip(asked, ours(convert=asked)["convert"]):
        theirs = ureg.Quantity(value, names.get(a, a)).to(names.get(b, b)).magnitude
        assert mine == pytest.approx(theirs, rel=1e-12), (a, b)
    assert ours(convert=[(1.0, "cm", "deg"), (1.0, "kg", "mm")])["convert"] == [None, None]
    typed = ours(typed=[("2,8 in", "mm"), ("180 lb", "kg"), ("75 °F", "Cel")])["typed"]
    assert [t["value"] for t in typed] == pytest.approx([71.12, 81.6466266, 23.888888888888889])


def test_arch_index_is_the_area_shapely_finds():
    rng = np.random.default_rng(8)
    asked, theirs = [], []
    for _ in range(40):
        angles = np.sort(rng.uniform(0, 2 * np.pi, 24))
        outline = np.c_[np.cos(angles) * 120, np.sin(angles) * 40] * rng.uniform(0.7, 1.0, (24, 1))
        shape = shapely.Polygon(outline)
        if not shape.is_valid:
            continue
        low, _, high, _ = shape.bounds
        third = (high - low) / 3
        middle = shape.intersection(shapely.box(low + third, -1e3, high - third, 1e3))
        theirs.append(middle.area / shape.area)
        turn = rng.uniform(0, 2 * np.pi)
        matrix = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
        axis = np.array([[low, 0.0], [high, 0.0]]) @ matrix
        asked.append({"outline": (outline @ matrix).tolist(), "heel": axis[0].tolist(), "second_toe": axis[1].tolist()})
    assert len(asked) > 30
    assert ours(arch_index=asked)["arch_index"] == pytest.approx(theirs, abs=1e-9)


@pytest.mark.parametrize("schema", sorted((DATA / "schema").glob("*.json")), ids=lambda p: p.stem)
def test_data_files_follow_their_schema(schema):
    rules = json.loads(schema.read_text())
    jsonschema.Draft202012Validator.check_schema(rules)
    for name in rules["x-files"]:
        document = toml(name)
        jsonschema.validate(document, rules)
        # The schema is no rubber stamp: a field it does not know is refused.
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(document | {"unheard_of": 1}, rules)
