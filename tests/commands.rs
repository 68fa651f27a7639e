//! The program as a user meets it: commands, exit status, one sentence for each refusal, and
//! nothing half written.
#![allow(clippy::unwrap_used, clippy::expect_used)] // helpers of tests, not only #[test] functions

mod support;

use serde_json::{Value, json};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;
use support::{done, plinthside};
use tempfile::TempDir;

/// The demo's photographs, mat and marks, as files.
fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("demo-data")
        .join(name)
}

fn photos(side: &str) -> Vec<PathBuf> {
    (1..=8)
        .map(|i| demo(&format!("{side}/{side}-{i}.jpg")))
        .collect()
}

/// The sentence of a refusal: exit status 1, one line on standard error, nothing on standard
/// output, no panic.
fn refusal(output: &Output) -> String {
    assert!(output.stdout.is_empty(), "a refusal prints no result");
    let stderr = support::refusal(output);
    assert_eq!(stderr.trim().lines().count(), 1, "one sentence: {stderr}");
    stderr
}

fn arg(path: impl AsRef<Path>) -> String {
    path.as_ref().display().to_string()
}

fn write(folder: &TempDir, name: &str, text: impl AsRef<[u8]>) -> String {
    let path = folder.path().join(name);
    fs::write(&path, text).expect("the test's own file");
    arg(path)
}

/// Tags of the demo's left photographs, found once and reused by the tests on marks.
fn tags(folder: &TempDir) -> String {
    let mut args = vec![
        "detect".into(),
        "--mat".into(),
        arg(demo("mat.json")),
        "--json".into(),
    ];
    args.extend(photos("left").iter().map(arg));
    write(folder, "tags.json", done(&plinthside(args)))
}

fn measure_tags(tags: &str, marks: &str) -> Output {
    plinthside([
        "measure",
        "--mat",
        &arg(demo("mat.json")),
        "--marks",
        marks,
        "--tags",
        tags,
        "--json",
    ])
}

fn marks() -> Value {
    serde_json::from_str(&fs::read_to_string(demo("left/marks.json")).expect("marks"))
        .expect("JSON")
}

#[test]
fn a_whole_visit_without_a_screen_leaves_every_paper() {
    let folder = TempDir::new().expect("folder");
    let out = folder.path().join("out");
    let text = done(&plinthside(["demo", "--headless", &arg(&out)]));
    for side in ["left", "right"] {
        for name in [
            "order.pdf",
            "bench.pdf",
            "label.pdf",
            "label.png",
            "packing.pdf",
            "measurement.json",
        ] {
            let path = out.join(format!("{side}-{name}"));
            let bytes = fs::read(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
            let magic: &[u8] = match path.extension().and_then(|e| e.to_str()) {
                Some("pdf") => b"%PDF-",
                Some("png") => b"\x89PNG",
                _ => b"{",
            };
            assert!(bytes.starts_with(magic), "{}", path.display());
            assert!(
                text.contains(&arg(&path)),
                "the summary says where {name} lies"
            );
        }
    }
    // The squeezed shell and the wrong tap of the right foot are both caught.
    assert!(text.contains("Refused:"), "{text}");
    let right: Value =
        serde_json::from_slice(&fs::read(out.join("right-measurement.json")).expect("file"))
            .expect("JSON");
    assert_eq!(right["verdict"]["call"], "recast", "{}", right["verdict"]);
    let left: Value =
        serde_json::from_slice(&fs::read(out.join("left-measurement.json")).expect("file"))
            .expect("JSON");
    assert_ne!(left["verdict"]["call"], "recast", "{}", left["verdict"]);

    // The papers come out of the file of visits again.
    let visits = arg(out.join("visits.json"));
    for command in ["order", "bench", "packing"] {
        let pdf = arg(folder.path().join(format!("{command}.pdf")));
        done(&plinthside([
            command,
            "demo-left",
            "--visits",
            &visits,
            "--out",
            &pdf,
        ]));
        assert!(fs::read(&pdf).expect("written").starts_with(b"%PDF-"));
    }
    let said = refusal(&plinthside([
        "order", "nobody", "--visits", &visits, "--out", "x.pdf",
    ]));
    assert!(
        said.contains("nobody") && said.contains("demo-left"),
        "{said}"
    );
    let label = arg(folder.path().join("label.docx"));
    let said = refusal(&plinthside([
        "label",
        "demo-left",
        "--visits",
        &visits,
        "--out",
        &label,
    ]));
    assert!(said.contains(".pdf or .png"), "{said}");
    assert!(!Path::new(&label).exists());
}

#[test]
fn measured_points_lie_where_the_rendered_cast_has_them() {
    let folder = TempDir::new().expect("folder");
    let report = done(&measure_tags(&tags(&folder), &arg(demo("left/marks.json"))));
    let report: Value = serde_json::from_str(&report).expect("JSON");
    let truth: Value =
        serde_json::from_str(&fs::read_to_string(demo("left/truth.json")).expect("truth"))
            .expect("JSON");
    let true_marks = truth["marks"].as_array().expect("marks");
    let mut compared = 0;
    for point in report["points"].as_array().expect("points") {
        let Some(true_mark) = true_marks.iter().find(|mark| mark["mark"] == point["mark"]) else {
            continue;
        };
        let number = |value: &Value| value.as_f64().expect("a number");
        let distance = (0..3)
            .map(|k| (number(&point["mat_mm"][k]) - number(&true_mark["mat_mm"][k])).powi(2))
            .sum::<f64>()
            .sqrt();
        assert!(distance < 1.5, "{} is {distance:.2} mm off", point["mark"]);
        compared += 1;
    }
    assert!(compared >= 8, "only {compared} marks compared");
}

#[test]
fn a_photograph_that_is_none_is_refused_by_name() {
    let folder = TempDir::new().expect("folder");
    let good = fs::read(demo("left/left-1.jpg")).expect("photograph");
    for (name, bytes) in [
        ("empty.jpg", Vec::new()),
        ("cut.jpg", good[..good.len() / 3].to_vec()),
        ("text.jpg", b"no picture at all".to_vec()),
        ("tiff.jpg", b"II*\0\x08\0\0\0".to_vec()),
    ] {
        let path = write(&folder, name, bytes);
        let said = refusal(&plinthside(["detect", "--json", &path]));
        assert!(said.contains(name), "{said}");
    }
    let said = refusal(&plinthside(["detect", "--json", "not-there.jpg"]));
    assert!(said.contains("not-there.jpg"), "{said}");
}

#[test]
fn marks_that_can_not_be_are_refused_in_words() {
    let folder = TempDir::new().expect("folder");
    let tags = tags(&folder);
    let with = |change: &dyn Fn(&mut Value)| {
        let mut marks = marks();
        change(&mut marks);
        let path = write(&folder, "marks.json", marks.to_string());
        refusal(&measure_tags(&tags, &path))
    };
    assert!(with(&|m| m["marks"][0]["x"] = json!(-5.0)).contains("marks.json"));
    assert!(
        with(&|m| m["marks"][0]["x"] = json!(1e9))
            .contains(marks()["marks"][0]["mark"].as_str().unwrap())
    );
    assert!(with(&|m| m["marks"][0]["x"] = Value::Null).contains("marks.json"));
    assert!(with(&|m| m["marks"][0]["photo"] = json!("other.jpg")).contains("other.jpg"));
    assert!(with(&|m| m["side"] = json!("middle")).contains("left"));
    assert!(
        with(&|m| {
            let again = m["marks"][0].clone();
            m["marks"].as_array_mut().unwrap().push(again);
        })
        .contains("twice")
    );
    // One view of a mark is too little: the other views of the first mark are taken away.
    let mark = marks()["marks"][0]["mark"].clone();
    let said = with(&|m| {
        let mut kept = 0;
        m["marks"].as_array_mut().unwrap().retain(|view| {
            kept += usize::from(view["mark"] == mark);
            view["mark"] != mark || kept == 1
        });
    });
    assert!(said.contains(mark.as_str().unwrap()), "{said}");
}

#[test]
fn a_mat_that_can_not_be_is_refused_in_words() {
    let folder = TempDir::new().expect("folder");
    let good: Value =
        serde_json::from_str(&fs::read_to_string(demo("mat.json")).expect("mat")).expect("JSON");
    let with = |change: &dyn Fn(&mut Value)| {
        let mut mat = good.clone();
        change(&mut mat);
        let mat = write(&folder, "mat.json", mat.to_string());
        refusal(&plinthside([
            "detect",
            "--mat",
            &mat,
            "--json",
            &arg(demo("left/left-1.jpg")),
        ]))
    };
    assert!(with(&|m| m["tags"][1]["id"] = m["tags"][0]["id"].clone()).contains("mat.json"));
    assert!(
        with(&|m| m["tags"][0]["corners_mm"] = json!([[0, 0], [1, 1], [2, 2], [3, 3]]))
            .contains("mat.json")
    );
    assert!(with(&|m| m["tags"] = json!([])).contains("mat.json"));
    assert!(with(&|m| m["family"] = json!("other")).contains("mat.json"));
    let broken = write(&folder, "broken.json", "{\"name\": ");
    let said = refusal(&plinthside([
        "detect",
        "--mat",
        &broken,
        "--json",
        &arg(demo("left/left-1.jpg")),
    ]));
    assert!(said.contains("broken.json"), "{said}");
}

#[test]
fn a_photograph_given_twice_is_refused() {
    let mut args: Vec<String> = ["measure", "--mat"].map(String::from).into();
    args.extend([
        arg(demo("mat.json")),
        "--marks".into(),
        arg(demo("left/marks.json")),
    ]);
    args.extend(photos("left").iter().map(arg));
    args.push(arg(demo("left/left-1.jpg")));
    let said = refusal(&plinthside(args));
    assert!(
        said.contains("left-1.jpg") && said.contains("twice"),
        "{said}"
    );
}

#[test]
fn the_wrong_mat_is_refused() {
    let folder = TempDir::new().expect("folder");
    let (pdf, layout) = (
        folder.path().join("mat.pdf"),
        folder.path().join("mat.json"),
    );
    done(&plinthside([
        "mat",
        "--paper",
        "letter",
        "--out",
        &arg(&pdf),
        "--layout",
        &arg(&layout),
    ]));
    assert!(fs::read(&pdf).expect("written").starts_with(b"%PDF-"));
    let said = refusal(&plinthside([
        "measure",
        "--mat",
        &arg(&layout),
        "--marks",
        &arg(demo("left/marks.json")),
        "--tags",
        &tags(&folder),
    ]));
    assert!(said.contains("mat"), "{said}");
}

#[test]
fn what_the_check_bars_measure_is_entered_in_the_layout_file() {
    let folder = TempDir::new().expect("folder");
    let layout = arg(folder.path().join("mat.json"));
    let pdf = arg(folder.path().join("mat.pdf"));
    done(&plinthside([
        "mat", "--paper", "a4", "--out", &pdf, "--layout", &layout,
    ]));
    let before = fs::read_to_string(&layout).expect("written");
    let enter = |paper, lengths: [&str; 2]| {
        let [across, along] = lengths;
        plinthside([
            "mat",
            "--paper",
            paper,
            "--layout",
            &layout,
            "--measured",
            across,
            along,
        ])
    };
    // The paper it is for is named wrongly, and a length that can't be: the file stays as it is.
    assert!(refusal(&enter("a3", ["150", "150"])).contains("another paper"));
    refusal(&enter("a4", ["-1", "150"]));
    assert_eq!(fs::read_to_string(&layout).expect("still there"), before);
    let mat: Value = serde_json::from_str(&before).expect("JSON");
    assert!(mat.get("printed").is_none_or(Value::is_null));
    let drawn = plinthside_measure::mat::sheet::Paper::A4.layout();
    let page = &drawn.pages[0];
    let (across, along) = (page.across.nominal_mm, page.along.nominal_mm);
    done(&enter(
        "a4",
        [&format!("{}", across * 1.001), &format!("{along}")],
    ));
    let mat: Value =
        serde_json::from_str(&fs::read_to_string(&layout).expect("written")).expect("JSON");
    let entered = mat["printed"].to_string();
    assert!(
        entered.contains(&format!("{}", across * 1.001)),
        "{entered}"
    );
}

#[test]
fn nothing_half_written_is_left_in_a_folder_that_is_not_there() {
    let folder = TempDir::new().expect("folder");
    let pdf = folder.path().join("no-such-folder").join("mat.pdf");
    let said = refusal(&plinthside(["mat", "--paper", "a4", "--out", &arg(&pdf)]));
    assert!(said.contains("nothing was written"), "{said}");
    assert_eq!(fs::read_dir(folder.path()).expect("folder").count(), 0);
}

#[test]
fn codes_are_drawn_checked_and_refused() {
    let codes = done(&plinthside(["code", "new", "-n", "20"]));
    let codes: Vec<&str> = codes.lines().collect();
    assert_eq!(codes.len(), 20);
    for code in &codes {
        let typed = code
            .to_lowercase()
            .replace('-', " ")
            .replace('0', "o")
            .replace('1', "l");
        assert_eq!(done(&plinthside(["code", "check", &typed])).trim(), *code);
    }
    // Two symbols of one group exchanged.
    let mut symbols: Vec<char> = codes[0].chars().collect();
    let at = (0..3).find(|&i| symbols[i] != symbols[i + 1]).unwrap_or(0);
    symbols.swap(at, at + 1);
    let swapped: String = symbols.into_iter().collect();
    if swapped != codes[0] {
        refusal(&plinthside(["code", "check", &swapped]));
    }
    refusal(&plinthside(["code", "check", "HELLO"]));
    refusal(&plinthside(["code", "new", "-n", "0"]));
}

#[test]
fn ruler_entries_give_results_without_any_photograph() {
    let folder = TempDir::new().expect("folder");
    let entry = |mark: &str, height: f64, forward: f64, sideways: (&str, f64)| json!({ "mark": mark, "height_mm": height, "forward_mm": forward, sideways.0: sideways.1 });
    let marks = json!({
        "side": "left", "wall_mm": 5.0, "marks": [],
        "ruler": [
            entry("heel-lower", 14.0, 0.0, ("lateral_mm", 0.0)),
            entry("heel-upper", 62.0, -3.0, ("lateral_mm", 2.5)),
            entry("malleolus-medial", 86.0, 45.0, ("medial_mm", 35.0)),
            entry("malleolus-lateral", 73.0, 36.0, ("lateral_mm", 34.0)),
            entry("mtp-1", 20.0, 148.0, ("medial_mm", 38.0)),
            entry("mtp-5", 11.0, 136.0, ("lateral_mm", 40.0)),
        ],
    });
    let path = write(&folder, "ruler.json", marks.to_string());
    let report: Value =
        serde_json::from_str(&done(&plinthside(["measure", "--marks", &path, "--json"])))
            .expect("JSON");
    assert_eq!(report["source"], "ruler");
    let heel = report["results"]["heel_deg"]["value"]
        .as_f64()
        .expect("heel");
    assert!((heel - 3.0).abs() < 0.1, "{heel}");
}

#[test]
fn wrong_use_has_a_status_of_its_own() {
    assert_eq!(plinthside(["no-such-command"]).status.code(), Some(2));
    assert_eq!(plinthside(["measure"]).status.code(), Some(2));
    let slip = plinthside(["mesure"]);
    assert_eq!(slip.status.code(), Some(2));
    let words = String::from_utf8_lossy(&slip.stderr).into_owned();
    assert!(words.contains("'measure'"), "{words}");
}

#[test]
fn a_package_without_a_screen_is_refused_in_words() {
    let folder = TempDir::new().expect("folder");
    let package = write(
        &folder,
        "7K3M-9QXD-4T2P-A-r1.age",
        "age-encryption.org/v1\n",
    );
    assert!(refusal(&plinthside([package])).contains("without a screen"));
    assert_eq!(plinthside(["--version"]).status.code(), Some(0));
}

#[test]
fn a_clinics_own_rules_are_tried_and_what_they_may_ask_is_told() {
    let folder = TempDir::new().expect("folder");
    let shipped = done(&plinthside(["rules"]));
    let own = write(&folder, "own.toml", &shipped);
    assert!(done(&plinthside(["rules", &own])).contains("none with an error"));
    let broken = shipped.replacen("level = \"caution\"", "level = \"shout\"", 1);
    let broken = write(&folder, "broken.toml", broken);
    let why = refusal(&plinthside(["rules", &broken]));
    assert!(
        why.contains("broken.toml") && why.contains("line "),
        "{why}"
    );
    let picture = write(&folder, "picture.toml", [0xff, 0xd8, 0xff]);
    assert!(refusal(&plinthside(["rules", &picture])).contains("no text file"));
    let facts = done(&plinthside(["rules", "--facts"]));
    let asked = facts
        .lines()
        .find(|l| l.starts_with("forefoot_height_by_angle_mm"));
    assert!(asked.is_some_and(|line| line.ends_with("a number, mm")));
}
