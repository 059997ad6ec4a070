//! Cargo does not notice a new file in these folders by itself.
fn main() {
    for dir in ["migrations", "static", "templates"] {
        println!("cargo:rerun-if-changed={dir}");
    }
}
