//! The page on method and limits against the code.

/// Below this folder the page stands.
const PAGE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/METHOD.md");
const BEGIN: &str = "<!-- limits: begin -->\n";
const END: &str = "<!-- limits: end -->\n";
/// Renews the block.
const COMMAND: &str = "STRIKEMILL_WRITE_METHOD=1 cargo test -p verdict method";

/// The page with the limits as the code has them now.
fn renewed(page: &str) -> String {
    let (before, rest) = page.split_once(BEGIN).expect("the mark where the limits begin");
    let (_, after) = rest.split_once(END).expect("the mark where the limits end");
    format!("{before}{BEGIN}{}{END}{after}", verdict::limits::markdown(&crate::heads::all()))
}

#[test]
fn the_page_on_method_has_the_limits_of_the_code() {
    let page = std::fs::read_to_string(PAGE).expect("the page on method");
    let renewed = renewed(&page);
    if std::env::var_os("STRIKEMILL_WRITE_METHOD").is_some() {
        std::fs::write(PAGE, &renewed).expect("the page on method");
        return;
    }
    assert!(page == renewed, "METHOD.md and the code differ in the limits; renew them by: {COMMAND}");
}
