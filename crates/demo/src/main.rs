//! Writes the demo files into a folder: `cargo run -p packdrift-demo -- data/demo`.

use std::path::PathBuf;

fn main() -> std::io::Result<()> {
    let folder = std::env::args_os().nth(1).map_or_else(|| PathBuf::from("data/demo"), PathBuf::from);
    std::fs::create_dir_all(&folder)?;
    for file in packdrift_demo::files(packdrift_demo::DEFAULT_SEED) {
        std::fs::write(folder.join(file.name), file.contents)?;
    }
    Ok(())
}
