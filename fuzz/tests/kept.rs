//! Every target on every file that was kept for it: what was once found stays mended, without the engine.

use packdrift_fuzz::TARGETS;
use std::path::Path;

#[test]
fn what_was_found_stays_mended() {
    let corpus = Path::new(env!("CARGO_MANIFEST_DIR")).join("corpus");
    for target in TARGETS {
        let files: Vec<_> =
            std::fs::read_dir(corpus.join(target.name)).expect("every target has a folder").flatten().collect();
        assert!(!files.is_empty(), "nothing is kept for {}", target.name);
        for file in files {
            let bytes = std::fs::read(file.path()).expect("a file of the corpus");
            let read = std::panic::catch_unwind(|| (target.read)(&bytes));
            assert!(read.is_ok(), "{}: see above", file.path().display());
        }
    }
}
