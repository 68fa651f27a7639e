//! The program: command line, commands, the way from photographs to papers, and the window.
