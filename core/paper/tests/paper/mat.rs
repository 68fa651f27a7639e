use crate::data::date;
use plinthside_measure::mat::sheet::Paper;
use plinthside_paper::mat;
use plinthside_paper::tag36h11::dark_modules;

/// Every module of every tag stands where the layout file says, at 8 pixels to the millimetre.
#[test]
fn tags_are_drawn_to_size() {
    const DPI: f64 = 203.2;
    const PX_PER_MM: f64 = DPI / 25.4;
    for paper in Paper::ALL {
        let layout = paper.layout();
        let printed = mat(&layout, plinthside_visit::Lang::En, date()).unwrap();
        assert_eq!(printed.pages(), layout.pages.len());
        for (i, page) in layout.pages.iter().enumerate() {
            let grey = image::load_from_memory(&printed.png(i, DPI).unwrap())
                .unwrap()
                .to_luma8();
            let dark = |x_mm: f64, y_mm: f64| {
                let x = (x_mm - page.outline.min_mm[0]) * PX_PER_MM;
                let y = (page.outline.max_mm[1] - y_mm) * PX_PER_MM;
                grey.get_pixel(x as u32, y as u32).0[0] < 128
            };
            for tag in &page.tags {
                let modules = dark_modules(tag.id).unwrap();
                let module = tag.side_mm / 8.0;
                let [left, top] = [
                    tag.centre_mm[0] - tag.side_mm / 2.0,
                    tag.centre_mm[1] + tag.side_mm / 2.0,
                ];
                for (row, line) in modules.iter().enumerate() {
                    for (column, &want) in line.iter().enumerate() {
                        // A tenth of a millimetre inside each module's corners.
                        for (u, v) in [
                            (0.1, 0.1),
                            (module - 0.1, 0.1),
                            (0.1, module - 0.1),
                            (module - 0.1, module - 0.1),
                        ] {
                            let x = left + column as f64 * module + u;
                            let y = top - row as f64 * module - v;
                            assert_eq!(
                                dark(x, y),
                                want,
                                "tag {} row {row} column {column}",
                                tag.id
                            );
                        }
                    }
                }
                // One white module all around.
                for t in 0..80 {
                    let t = f64::from(t) / 80.0 * tag.side_mm;
                    for away in [0.15, module - 0.1] {
                        assert!(
                            !dark(left + t, top + away)
                                && !dark(left + t, top - tag.side_mm - away)
                        );
                        assert!(
                            !dark(left - away, top - t)
                                && !dark(left + tag.side_mm + away, top - t)
                        );
                    }
                }
            }
        }
    }
}

#[test]
fn pages_have_the_paper_s_size_and_say_what_to_do() {
    for paper in Paper::ALL {
        let layout = paper.layout();
        let printed = mat(&layout, plinthside_visit::Lang::En, date()).unwrap();
        for (i, page) in layout.pages.iter().enumerate() {
            let [w, h] = printed.page_mm(i).unwrap();
            let [want_w, want_h] = page.outline.size_mm();
            assert!((w - want_w).abs() < 1e-6 && (h - want_h).abs() < 1e-6);
        }
        let words = printed.text().concat().replace('\n', " ");
        for want in ["100 %", "check bar", "Tape", layout.name] {
            assert!(words.contains(want), "{want} in {words}");
        }
        assert!(!printed.pdf().unwrap().is_empty());
    }
}

/// The tag family ends at 586 and its first tag is the published one: `0x0000000d7e00984b` in the
/// AprilTag 3 library's `tag36h11.c`.
#[test]
fn all_tags_of_the_family_differ_and_are_bordered() {
    assert!(dark_modules(587).is_none());
    let first = dark_modules(0).unwrap();
    assert!(first[0].iter().chain(&first[7]).all(|d| *d));
    assert!(first.iter().all(|row| row[0] && row[7]));
    let all: std::collections::HashSet<_> = (0..587).filter_map(dark_modules).collect();
    assert_eq!(all.len(), 587);
}
