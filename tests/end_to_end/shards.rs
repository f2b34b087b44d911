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

/// The demo's fleet by `trend`, its forecasts made in so many shares in a folder; the options after the records.
fn forecast_in_shares(folder: &std::path::Path, records: &[&str], more: &[&str], n: usize) -> Vec<String> {
    (1..=n)
        .map(|k| {
            let part = run_in(folder, &[&["trend"], records, more, &["--shard", &format!("{k}/{n}")]].concat());
            assert_eq!(part.status.code(), Some(0), "{}", String::from_utf8_lossy(&part.stderr));
            let name = format!("{k}-of-{n}.json");
            std::fs::write(folder.join(&name), part.stdout).unwrap();
            name
        })
        .collect()
}

#[test]
fn forecasts_joined_are_the_whole_byte_for_byte() {
    let folder = tempfile::tempdir().unwrap();
    let (inspections, policy) = (demo("inspections.csv"), demo("policy.toml"));
    let policy = policy.to_str().unwrap();
    std::fs::write(folder.path().join("sums.csv"), crate::sums::sums()).unwrap();
    let readings = vec![inspections.to_str().unwrap()];
    let sums = vec!["--sums", "sums.csv"];
    let cases: [(&Vec<&str>, &str, &[usize]); 4] = [
        (&sums, "auto", &[1, 2, 3, 7]),
        (&readings, "random-slope", &[1, 2, 3, 7]),
        (&readings, "wiener", &[2]),
        (&readings, "gamma", &[2]),
    ];
    for (records, model, counts) in cases {
        let options = ["--policy", policy, "--model", model, "--seed", "5"];
        let ask = |more: &[&str]| run_in(folder.path(), &[&["trend"], &records[..], &options[..], more].concat());
        let json = ask(&["--format", "json"]);
        assert!(json.stdout.len() > 1000, "{}", String::from_utf8_lossy(&json.stderr));
        for &n in counts {
            let mut parts = forecast_in_shares(folder.path(), records, &options, n);
            parts.reverse();
            let parts: Vec<&str> = parts.iter().map(String::as_str).collect();
            let joined = ask(&[&["--format", "json", "--parts"], &parts[..]].concat());
            assert_eq!(joined.status.code(), json.status.code(), "{}", String::from_utf8_lossy(&joined.stderr));
            assert!(joined.stdout == json.stdout, "{records:?}, {model}: {n} shares give another result");
            if n == 3 {
                assert!(
                    ask(&[&["--parts"], &parts[..]].concat()).stdout == ask(&[]).stdout,
                    "{records:?}, {model}: another text"
                );
            }
        }
    }
    // The page, its figures and the tables too.
    let all = |more: &[&str]| {
        let fixed = ["trend", readings[0], "--policy", policy, "--model", "random-slope", "--seed", "5", "--quiet"];
        let options = [&fixed[..], more].concat();
        assert_eq!(run_in(folder.path(), &options).status.code(), Some(1));
    };
    all(&["--out", "whole"]);
    forecast_in_shares(folder.path(), &readings, &["--policy", policy, "--model", "random-slope", "--seed", "5"], 2);
    all(&["--out", "joined", "--parts", "1-of-2.json", "2-of-2.json"]);
    let files = std::fs::read_to_string(folder.path().join("whole/files.txt")).unwrap();
    assert!(files.lines().count() > 5);
    let names = files.lines().map(|line| line.split_once("  ").unwrap().1);
    for file in names.chain(["files.txt"]) {
        let read = |under: &str| std::fs::read(folder.path().join(under).join(file)).unwrap();
        assert!(read("whole") == read("joined"), "{file} is another");
    }
}

#[test]
fn shares_of_forecasts_that_do_not_make_up_the_run_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let (inspections, policy) = (demo("inspections.csv"), demo("policy.toml"));
    let records = [inspections.to_str().unwrap()];
    let options = ["--policy", policy.to_str().unwrap(), "--model", "random-slope"];
    forecast_in_shares(folder.path(), &records, &options, 3);
    forecast_in_shares(folder.path(), &records, &options, 2);
    let refused = |options: &[&str], parts: &[&str], says: &[&str]| {
        let out = run_in(folder.path(), &[&["trend"], &records[..], options, &["--parts"], parts].concat());
        let error = String::from_utf8_lossy(&out.stderr).into_owned();
        assert_eq!((out.status.code(), out.stdout.len()), (Some(2), 0), "{error}");
        for said in says {
            assert!(error.contains(said), "{error}\nwithout: {said}");
        }
    };
    let [one, two, three] = ["1-of-3.json", "2-of-3.json", "3-of-3.json"];
    refused(&options, &[one, three], &["of 3 shares these are missing: 2"]);
    refused(&options, &[one, one, three], &["missing: 2", "there more than once: 1"]);
    refused(&options, &[one, two, three, "2-of-2.json"], &["share 2 is of 2, the first of 3"]);

    // Another policy, other options; a result, a share by another version, no file at all: each is named, all in one run.
    let changed = folder.path().join("policy.toml");
    let text = std::fs::read_to_string(&policy).unwrap();
    std::fs::write(&changed, format!("{text}\n# another\n")).unwrap();
    let others = ["--policy", changed.to_str().unwrap(), "--model", "wiener", "--seed", "9"];
    refused(
        &others,
        &[one, two, three],
        &["1-of-3.json: not a share", "3-of-3.json", "from other files, with --model random-slope, with --seed 1"],
    );
    let read = |name: &str| std::fs::read_to_string(folder.path().join(name)).unwrap();
    let write = |name: &str, text: String| std::fs::write(folder.path().join(name), text).unwrap();
    write("old.json", read(one).replacen(env!("CARGO_PKG_VERSION"), "0.0.1", 1));
    write("stack.json", read(one).replacen("forecasts of trend", "trials of stack", 1));
    let whole = run_in(folder.path(), &[&["trend"], &records[..], &options, &["--format", "json"]].concat());
    write("result.json", String::from_utf8(whole.stdout).unwrap());
    refused(
        &options,
        &["old.json", "stack.json", "result.json", "gone.json"],
        &[
            "by packdrift 0.0.1",
            "a share of the trials of stack",
            "result.json: not a share",
            "gone.json",
            "no such file",
        ],
    );

    // A number changed in the fit that a share rests on; a valve lost; a chance lost.
    let rests = read(two);
    let at = rests.find("\"rests_on\":[").unwrap() + "\"rests_on\":[".len();
    let digit = rests[at..].find(',').unwrap() + at - 1;
    let other = if &rests[digit..=digit] == "3" { "4" } else { "3" };
    let changed = format!("{}{other}{}", &rests[..digit], &rests[digit + 1..]);
    write("fit.json", changed.clone());
    refused(&options, &[one, "fit.json", three], &["fit.json: not a share", "it is damaged"]);
    // The same with a checksum that is right.
    write("fit.json", sealed(&changed));
    refused(
        &options,
        &[one, "fit.json", three],
        &["share 2 of 3", "rests on another fit, another day or other limits"],
    );
    let at = rests.find("\"valves\":[[").unwrap() + "\"valves\":[".len();
    // To the end of the first valve, which may hold lists of its own, and the comma after it.
    let mut depth = 0;
    let closes = |byte: &u8| {
        depth += i32::from(*byte == b'[') - i32::from(*byte == b']');
        depth == 0
    };
    let end = rests.as_bytes()[at..].iter().position(closes).unwrap() + at + 2;
    write("short.json", sealed(&format!("{}{}", &rests[..at], &rests[end..])));
    refused(&options, &[one, "short.json", three], &["share 2 of 3", "valves, expected"]);
    let comma = rests[at..].find(',').unwrap() + at;
    write("null.json", sealed(&format!("{}[[null{}", &rests[..at], &rests[comma..])));
    refused(&options, &[one, "null.json", three], &["a valve without chances"]);
    // A chance of -3, and hours that are no number.
    write("chance.json", sealed(&format!("{}[[{}{}", &rests[..at], (-3.0_f64).to_bits(), &rests[comma..])));
    refused(&options, &[one, "chance.json", three], &["share 2 of 3", "-3 for a chance"]);
    let hours = rests[at..].find(']').unwrap() + at;
    let last = rests[..hours].rfind(',').unwrap() + 1;
    write("hours.json", sealed(&format!("{}{}{}", &rests[..last], f64::NAN.to_bits(), &rests[hours..])));
    refused(&options, &[one, "hours.json", three], &["share 2 of 3", "for hours of crossing"]);

    for wrong in [
        vec!["--policy", options[1], "--shard", "4/3"],
        vec!["--policy", options[1], "--shard", "1/2", "--parts", one],
        vec!["--policy", options[1], "--shard", "1/2", "--out", "x"],
        // Without limits there is nothing to forecast.
        vec!["--shard", "1/2"],
        vec!["--parts", one],
    ] {
        assert_eq!(
            run_in(folder.path(), &[&["trend", records[0]], &wrong[..]].concat()).status.code(),
            Some(2),
            "{wrong:?}"
        );
    }
}

/// A share's text with the checksum that belongs to its content.
fn sealed(share: &str) -> String {
    let (head, state) = share.split_once(",\"state\":").unwrap();
    let (head, _) = head.split_once("\"sha256\":").unwrap();
    let sha256 = packdrift_records::sha256_of_bytes(state.trim_end().strip_suffix('}').unwrap().as_bytes());
    format!("{head}\"sha256\":\"{sha256}\",\"state\":{state}")
}

#[test]
fn a_share_with_a_bit_turned_is_damaged_and_one_that_cannot_be_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let pack = demo("pack.toml");
    let fixed = ["stack", pack.to_str().unwrap(), "--method", "monte-carlo", "--trials", "3000"];
    let share = run_in(folder.path(), &[&fixed[..], &["--shard", "1/1"]].concat()).stdout;
    let joined = |share: &[u8]| {
        std::fs::write(folder.path().join("1.json"), share).unwrap();
        let out = run_in(folder.path(), &[&fixed[..], &["--parts", "1.json"]].concat());
        (out.status.code(), String::from_utf8_lossy(&out.stderr).into_owned())
    };
    assert_eq!(joined(&share).0, Some(1), "the demo's pack has something out of limits");
    // Bits all over the file; those of the last line's end alone do not matter.
    for at in (0..share.len() - 1).step_by(share.len() / 40) {
        let mut turned = share.clone();
        turned[at] ^= 1 << (at % 7);
        let (status, error) = joined(&turned);
        assert_eq!(status, Some(2), "byte {at}: {error}");
    }
    let text = String::from_utf8(share).unwrap();
    for (key, what) in [("\"trials\":", "list of blocks"), ("\"joint\":", "a count"), ("\"below\":", "a count")] {
        let from = text.find(key).unwrap() + key.len();
        let to = from + text[from..].find(',').unwrap();
        let (status, error) = joined(sealed(&format!("{}999999{}", &text[..from], &text[to..])).as_bytes());
        assert_eq!(status, Some(2), "{key} {error}");
        assert!(error.contains(what) && error.contains("damaged"), "{error}");
    }
}
