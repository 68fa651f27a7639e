//! The queue from a command line, for checks against other people's printers:
//! `printing QUEUE add PRINTER WIDTH_MM HEIGHT_MM COPIES DPI FILE...` (a PDF, or the PNG of each
//! page), `printing QUEUE step`, `printing QUEUE cancel JOB`, `printing QUEUE again JOB`,
//! `printing QUEUE trust JOB`. Each
//! prints one line a job: identifier, stage, and where it stands in words.

use plinthside_print::{Folder, Images, PrintDocument, Queue};
use std::error::Error;
use std::path::Path;
use std::time::{SystemTime, UNIX_EPOCH};

fn main() -> Result<(), Box<dyn Error>> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let now_ms = SystemTime::now().duration_since(UNIX_EPOCH)?.as_millis() as i64;
    let mut queue = Queue::open(Folder::open(Path::new(words.first().ok_or("no queue")?))?)?;
    match &words[1..] {
        ["add", printer, width, height, copies, dpi, files @ ..] => {
            let read = |end: &str| {
                let chosen = files.iter().filter(move |f| f.ends_with(end));
                chosen.map(std::fs::read).collect::<Result<Vec<_>, _>>()
            };
            let document = PrintDocument {
                title: "Outside".into(),
                page_mm: [width.parse()?, height.parse()?],
                pdf: read(".pdf")?.pop(),
                images: vec![Images {
                    dpi: dpi.parse()?,
                    pages: read(".png")?,
                }],
            };
            queue.add(&document, &printer.parse()?, copies.parse()?, "Ada", now_ms)?;
        }
        ["step"] => queue.advance(now_ms)?,
        ["cancel", job] => queue.cancel(job, now_ms)?,
        ["again", job] => queue.again(job, now_ms)?,
        ["trust", job] => queue.trust(job)?,
        _ => return Err("wrong use".into()),
    }
    for job in queue.jobs() {
        let stage = serde_json::to_value(&job.stage)?;
        println!(
            "{}\t{}\t{}",
            job.id,
            stage["at"].as_str().unwrap_or_default(),
            job.status()
        );
    }
    Ok(())
}
