//! Intake with real folders, a real ledger and a real lake.

mod again;
mod amend;
mod batches;
mod crash;
mod daemon;
mod faults;
mod flow;
mod growing;
mod marks;
mod people;
mod preview;
mod settling;
mod shares;
mod site;
mod unattended;
