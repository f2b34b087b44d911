//! A run shared out among machines: the shares written down, joined, and the result that of one machine, byte for byte.

use crate::program::{demo, run_in};

#[test]
fn shares_joined_are_the_whole_byte_for_byte() {
    let folder = tempfile::tempdir().unwrap();
    let pack = demo("pack.toml");
    let pack = pack.to_str().unwrap();
    // Not a multiple of a block, so that the last is cut short.
    let fixed = ["stack", pack, "--method", "monte-carlo", "--trials", "50001", "--seed", "7"];
    let ask = |more: &[&str]| run_in(folder.path(), &[&fixed[..], more].concat());
    let whole = ask(&["--format", "json", "--threads", "2"]);
    for (k, threads) in [("1", "1"), ("2", "2"), ("3", "1")] {
        let part = ask(&["--shard", &format!("{k}/3"), "--threads", threads]);
        assert_eq!(part.status.code(), Some(0), "{}", String::from_utf8_lossy(&part.stderr));
        std::fs::write(folder.path().join(format!("{k}.json")), part.stdout).unwrap();
    }
    let joined = ask(&["--format", "json", "--parts", "3.json", "1.json", "2.json"]);
    assert_eq!(joined.status.code(), whole.status.code(), "{}", String::from_utf8_lossy(&joined.stderr));
    assert!(joined.stdout == whole.stdout && whole.stdout.len() > 1000, "the joined result is another");

    for (parts, says) in [
        (vec!["1.json", "3.json"], "a share is missing"),
        (vec!["1.json", "1.json", "2.json", "3.json"], "both hold block"),
        (vec![pack], "not a share of trials"),
    ] {
        let refused = ask(&[&["--parts"][..], &parts].concat());
        let error = String::from_utf8_lossy(&refused.stderr);
        assert_eq!(refused.status.code(), Some(2), "{error}");
        assert!(error.contains(says), "{error}");
    }
    let other = ["stack", pack, "--method", "monte-carlo", "--trials", "50001", "--seed", "8", "--parts", "1.json"];
    let refused = run_in(folder.path(), &other);
    assert!(String::from_utf8_lossy(&refused.stderr).contains("different runs"));
    for wrong in [vec!["--shard", "4/3"], vec!["--shard", "2"], vec!["--shard", "1/2", "--parts", "1.json"]] {
        assert_eq!(ask(&wrong).status.code(), Some(2), "{wrong:?}");
    }
    // Without a number of trials there is nothing to share.
    assert_eq!(run_in(folder.path(), &["stack", pack, "--shard", "1/2"]).status.code(), Some(2));
}
