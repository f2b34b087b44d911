//! One target under the engine: `PACKDRIFT_FUZZ=NAME fuzz [options of libFuzzer] [folders]`. Built and run by `fuzz/run.sh`.
#![no_main]

use packdrift_fuzz::{TARGETS, Target, named};
use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicBool, Ordering};

static TARGET: OnceLock<Target> = OnceLock::new();

libfuzzer_sys::fuzz_target!(init: begin(), |bytes: &[u8]| {
    if let Some(target) = TARGET.get() {
        (target.read)(&bytes[..bytes.len().min(target.longest)]);
    }
});

fn begin() {
    let name = std::env::var("PACKDRIFT_FUZZ").unwrap_or_default();
    let Some(target) = named(&name) else {
        let names: Vec<&str> = TARGETS.iter().map(|target| target.name).collect();
        eprintln!("PACKDRIFT_FUZZ names the target: {}", names.join(", "));
        std::process::exit(2);
    };
    TRIED_FIRST.store(target.is_tried_first, Ordering::SeqCst);
    let _ = TARGET.set(target);
    // What is read in parallel is read on this thread: the engine sees one thread's way only.
    let _ = rayon::ThreadPoolBuilder::new().num_threads(1).use_current_thread().build_global();
    std::panic::set_hook(Box::new(|panic| {
        // A library's panic on a foreign format is caught by its reader. One of our own is a finding, wherever it happens.
        let is_ours = panic.location().is_some_and(|place| place.file().starts_with("crates/"));
        if is_ours || !packdrift_records::is_guarding() {
            eprintln!("{panic}");
            std::process::abort();
        }
    }));
}

/// Memory that one reading may ask for at once. The engine's own limit looks at what is in use, ten times a second.
const MOST: usize = 1 << 30;
/// By which the engine knows a trial that ran out of memory.
const OUT_OF_MEMORY: i32 = 71;

static TRIED_FIRST: AtomicBool = AtomicBool::new(false);

struct Bounded;

#[global_allocator]
static ALLOCATOR: Bounded = Bounded;

fn bound(size: usize) {
    if size <= MOST {
        return;
    }
    if TRIED_FIRST.load(Ordering::Relaxed) {
        unsafe extern "C" {
            fn _exit(status: i32) -> !;
        }
        // SAFETY: ends the process and touches nothing.
        unsafe { _exit(OUT_OF_MEMORY) }
    }
    eprintln!("a demand for {size} bytes at once");
    std::process::abort();
}

// SAFETY: every call goes on to the system's allocator as it came.
unsafe impl GlobalAlloc for Bounded {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        bound(layout.size());
        unsafe { System.alloc(layout) }
    }

    unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
        bound(layout.size());
        unsafe { System.alloc_zeroed(layout) }
    }

    unsafe fn realloc(&self, place: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        bound(size);
        unsafe { System.realloc(place, layout, size) }
    }

    unsafe fn dealloc(&self, place: *mut u8, layout: Layout) {
        unsafe { System.dealloc(place, layout) }
    }
}
