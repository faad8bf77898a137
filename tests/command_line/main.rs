//! The command as people and scripts meet it: exit statuses, what goes to stdout, and files left behind.

mod arguments;
mod cards;
mod folder;
mod outputs;
mod photos;
mod plans;
mod ways;
