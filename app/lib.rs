//! The program: command line, commands, the way from photographs to papers, and the window.
//!
//! Start at [`cli::run`]; [`pipeline`] is the main job, [`papers`] what comes out of it,
//! [`records`] where everything is kept.

pub mod camera;
pub mod cli;
pub mod clock;
pub mod commands;
pub mod error;
pub mod files;
pub mod invented;
pub mod labels;
pub mod lent;
pub mod mats;
pub mod outbox;
pub mod package;
pub mod papers;
pub mod photographs;
pub mod pipeline;
pub mod printing;
pub mod records;
pub mod rules;
pub mod sound;
pub mod sources;
pub mod stand;
pub mod summary;
pub mod visits;
pub mod window;
