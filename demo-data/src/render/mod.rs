//! A small ray caster that draws the demo's photographs together with their exact truth.
//!
//! [`shell`] bends sections into a foot and lays plaster on it, [`mesh`] closes it, [`patient`]
//! says who, [`scene`] puts it with its ink on the printed mat, [`camera`] and [`photo`] take the
//! picture, [`studio`] arranges it all.

pub mod bvh;
pub mod camera;
pub mod clinic;
pub mod ink;
pub mod light;
pub mod mesh;
pub mod noise;
pub mod patient;
pub mod photo;
pub mod print;
pub mod raster;
pub mod record;
pub mod scene;
pub mod shell;
pub mod studio;

/// A point or direction, mm.
pub type V3 = nalgebra::Vector3<f64>;
/// A place on a surface, mm.
pub type V2 = nalgebra::Vector2<f64>;

/// Works out `count` values on all cores, in order.
pub fn parallel<T: Send>(count: usize, value: impl Fn(usize) -> T + Sync) -> Vec<T> {
    use std::sync::atomic::{AtomicUsize, Ordering};
    let workers = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let block = (count / (workers * 16)).max(1);
    let next = AtomicUsize::new(0);
    let mut parts: Vec<(usize, Vec<T>)> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..workers)
            .map(|_| {
                scope.spawn(|| {
                    let mut mine = Vec::new();
                    loop {
                        let start = next.fetch_add(block, Ordering::Relaxed);
                        if start >= count {
                            return mine;
                        }
                        let end = (start + block).min(count);
                        mine.push((start, (start..end).map(&value).collect()));
                    }
                })
            })
            .collect();
        threads
            .into_iter()
            .flat_map(|t| {
                t.join()
                    .unwrap_or_else(|panic| std::panic::resume_unwind(panic))
            })
            .collect()
    });
    parts.sort_by_key(|(start, _)| *start);
    parts.into_iter().flat_map(|(_, values)| values).collect()
}
