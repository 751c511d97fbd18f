//! What a buyer or a museum is told of a piece, in words and as linked data.

use std::collections::{BTreeSet, HashMap};

use oxjsonld::JsonLdParser;
use oxrdf::{NamedOrBlankNode, Term};

use super::{APPLES, Desk, PERIODS, demo_collection};

const CRM: &str = "http://www.cidoc-crm.org/cidoc-crm/";
const PROV: &str = "http://www.w3.org/ns/prov#";
const DWC: &str = "http://rs.tdwg.org/dwc/terms/";
const RDF: &str = "http://www.w3.org/1999/02/22-rdf-syntax-ns#";
const RDFS: &str = "http://www.w3.org/2000/01/rdf-schema#";

/// A text that breaks whatever is put together carelessly.
const ODD: &str = "O\"Neill\\ </script>\n@id \u{1b}[31m {\"@id\": \"x\"} ä 木 <urn:x> %20";

/// One piece with everything: untouched, reworked twice, worn, unknown, and another part.
fn desk() -> Desk {
    let desk = Desk::with("apples.csv", APPLES);
    desk.write("periods.csv", PERIODS);
    desk.write(
        "long.csv",
        "specimen,dimension,value,state,measured_by,measured_on,instrument\n\
         A8,chamber diameter,20.5,worn,Mo,2001-02-03,calliper\nA8,wall,7.2,unknown,,,\n",
    );
    desk.write("before.png", "a picture");
    desk.run("add apples.csv periods.csv long.csv --to c.db")
        .done();
    let record = |words: &[&str]| {
        let words = [&["record", "A8", "--to", "c.db"], words].concat();
        desk.run_words(&words).done();
    };
    record(&[
        "--set",
        "bit width=17",
        "--by",
        "Jo",
        "--on",
        "2024-05-01",
        "--tool",
        "file, felt",
        "--why",
        "too wide",
        "--picture",
        "before.png",
    ]);
    record(&[
        "--set",
        "bit width=16.3",
        "--by",
        ODD,
        "--on",
        "2024-05-02",
        "--tool",
        ODD,
        "--why",
        ODD,
    ]);
    record(&[
        "--set",
        "stem length=70",
        "--found",
        "stem length=68",
        "--replaced",
        "--by",
        "Jo",
        "--on",
        "2024-05-03",
    ]);
    desk
}

/// Words that wrapping may have parted.
fn unwrapped(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn the_text_tells_what_testifies_and_what_does_not() {
    let desk = desk();
    let before = desk.everything();
    let out = desk.run("disclose a8 --from c.db").done().out;
    assert_eq!(desk.changes_since(&before), "", "telling changes nothing");
    let text = unwrapped(&out);
    let digest = desk.run("history --from c.db").done().csv();
    let digest = digest.column("sha256").last().unwrap().to_string();
    for words in [
        "A8: what left the works, and what was changed since",
        "apple, Row Works, made 1937; the measurements do not prove it",
        "bit width 18.40 18.40 mm changed, last on 2024-05-02",
        "cant angle 2.0 2.00 deg no work recorded",
        "bit width: 18.40 (factory) -> 17 (reworked); on 2024-05-01, by Jo; tool: file, felt; why: too wide",
        "picture before.png",
        "bit width: 17 (reworked) -> 16.3 (reworked)",
        "stem length: 68 (unknown) -> 70 (replaced)",
        "tool: not said; why: not said",
        "1 place: cant angle: as it left the works as far as is known",
        "1 place: bit width: not as it left the works any more",
        "1 place: chamber diameter: worn when it was read",
        "2 places: wall thickness, stem length: nobody knows",
        "the part with stem length. Nothing that is measured on it tells",
        "has no part in any norm",
        "works that nobody recorded are not known here",
        "Dimensions neither date nor authenticate a piece.",
        "from c.db, revision 4",
        &digest,
    ] {
        assert!(text.contains(words), "no `{words}` in {out}");
    }
    assert!(!out.contains('\u{1b}'), "{out:?}");
    let widest = out.lines().map(|line| line.chars().count()).max();
    assert!(widest <= Some(100), "{out}");
    // Of a piece without works that is said; it is no proof.
    let out = desk.run("disclose A1 --from c.db").done().out;
    assert!(
        out.contains("No work is recorded. That does not prove"),
        "{out}"
    );
    assert!(!out.contains("any norm"), "{out}");
    // A work that was withdrawn is told no more.
    desk.run("withdraw A8 stem_length --work --why slip --to c.db")
        .done();
    let out = desk.run("disclose A8 --from c.db").done().out;
    assert!(!out.contains("replaced"), "{out}");
    for (line, word) in [
        ("disclose A9 --from c.db", "A9"),
        ("disclose A8 --from nowhere.db", "nowhere.db"),
        ("disclose A8 --from apples.csv", "no collection"),
    ] {
        assert!(desk.refuses(line).contains(word), "{line}");
    }
}

/// The triples of a disclosure, as an RDF library reads them.
struct Triples(Vec<(String, String, Term)>);

impl Triples {
    #[track_caller]
    fn of(desk: &Desk, from: &str, specimen: &str) -> Triples {
        let words = ["disclose", specimen, "--json-ld", "--from", from];
        Triples::parse(&desk.run_words(&words).done().out)
    }

    #[track_caller]
    fn parse(text: &str) -> Triples {
        let quads = JsonLdParser::new().for_slice(text.as_bytes());
        let triple = |quad: oxrdf::Quad| {
            let NamedOrBlankNode::NamedNode(subject) = quad.subject else {
                panic!("a nameless node: {}", quad.predicate);
            };
            (
                subject.into_string(),
                quad.predicate.into_string(),
                quad.object,
            )
        };
        Triples(quads.map(|quad| triple(quad.expect("JSON-LD"))).collect())
    }

    fn objects(&self, subject: &str, predicate: &str) -> Vec<&Term> {
        let of = |(s, p, _): &&(String, String, Term)| s == subject && p == predicate;
        self.0.iter().filter(of).map(|(_, _, o)| o).collect()
    }

    /// The only object of a property.
    #[track_caller]
    fn one(&self, subject: &str, predicate: &str) -> String {
        match self.objects(subject, predicate).as_slice() {
            [Term::NamedNode(node)] => node.as_str().to_owned(),
            [Term::Literal(literal)] => literal.value().to_owned(),
            other => panic!("{subject} {predicate}: {other:?}"),
        }
    }

    fn types(&self, subject: &str) -> BTreeSet<String> {
        let types = self.objects(subject, &format!("{RDF}type"));
        let iri = |term: &Term| match term {
            Term::NamedNode(node) => node.as_str().to_owned(),
            other => panic!("{other}"),
        };
        types.into_iter().map(iri).collect()
    }

    /// The subjects of a class, in the order of the document.
    fn of_class(&self, class: &str) -> Vec<&str> {
        let mut found = Vec::new();
        for (subject, predicate, object) in &self.0 {
            let is = matches!(object, Term::NamedNode(node) if node.as_str() == class);
            if is && *predicate == format!("{RDF}type") {
                found.push(subject.as_str());
            }
        }
        found
    }

    /// The subject with that label.
    #[track_caller]
    fn labelled(&self, class: &str, label: &str) -> &str {
        let of = self.of_class(class);
        let is = |subject: &&&str| {
            let labels = self.objects(subject, &format!("{RDFS}label"));
            matches!(labels.as_slice(), [Term::Literal(l)] if l.value() == label)
        };
        of.iter()
            .find(is)
            .unwrap_or_else(|| panic!("no {class} `{label}`"))
    }
}

#[test]
fn an_rdf_library_reads_what_was_recorded() {
    let desk = desk();
    let rdf = Triples::of(&desk, "c.db", "A8");
    let label = |subject: &str| rdf.one(subject, &format!("{RDFS}label"));
    let crm = |subject: &str, property: &str| rdf.one(subject, &format!("{CRM}{property}"));
    let prov = |subject: &str, property: &str| rdf.one(subject, &format!("{PROV}{property}"));
    let dwc = |subject: &str, property: &str| rdf.one(subject, &format!("{DWC}{property}"));
    let piece = rdf.labelled(&format!("{CRM}E22_Human-Made_Object"), "A8");
    let production = rdf.of_class(&format!("{CRM}E12_Production"));
    assert_eq!(crm(production[0], "P108_has_produced"), piece);
    assert_eq!(
        label(&crm(production[0], "P14_carried_out_by")),
        "Row Works"
    );
    assert_eq!(label(&crm(production[0], "P4_has_time-span")), "1937");
    // The two works on the bit, each from what the one before left.
    let works = rdf.of_class(&format!("{CRM}E11_Modification"));
    let told: Vec<[String; 4]> = works
        .iter()
        .map(|work| {
            assert_eq!(crm(work, "P31_has_modified"), piece);
            [
                label(&crm(work, "P14_carried_out_by")),
                label(&crm(work, "P4_has_time-span")),
                label(&crm(work, "P16_used_specific_object")),
                label(work),
            ]
        })
        .collect();
    let first = "bit width: 18.40 (factory) -> 17 (reworked); why: too wide";
    let second = format!("bit width: 17 (reworked) -> 16.3 (reworked); why: {ODD}");
    assert_eq!(
        told,
        [
            ["Jo", "2024-05-01", "file, felt", first].map(str::to_owned),
            [ODD, "2024-05-02", ODD, &second].map(str::to_owned),
        ]
    );
    let found = prov(works[0], "used");
    let between = prov(works[1], "used");
    assert_eq!(crm(&found, "P90_has_value"), "18.4");
    assert_eq!(crm(&between, "P90_has_value"), "17");
    assert_eq!(prov(&between, "wasDerivedFrom"), found);
    assert_eq!(prov(&between, "wasGeneratedBy"), works[0]);
    assert_eq!(prov(&found, "wasInvalidatedBy"), works[0]);
    assert_eq!(prov(&between, "wasInvalidatedBy"), works[1]);
    let sizes = rdf.of_class(&format!("{CRM}E54_Dimension"));
    let derived = |size: &&&str| {
        let from = rdf.objects(size, &format!("{PROV}wasDerivedFrom"));
        from.iter()
            .any(|term| term.to_string() == format!("<{between}>"))
    };
    let last = sizes.iter().find(derived).unwrap();
    assert_eq!(crm(last, "P90_has_value"), "16.3");
    assert_eq!(
        crm(last, "P91_has_unit"),
        "http://qudt.org/vocab/unit/MilliM"
    );
    assert!(
        rdf.objects(last, &format!("{PROV}wasInvalidatedBy"))
            .is_empty()
    );
    for (property, value) in [
        ("measurementType", "bit_width"),
        ("measurementValue", "16.3"),
        ("measurementUnit", "mm"),
        ("measurementDeterminedBy", ODD),
        ("measurementDeterminedDate", "2024-05-02"),
        (
            "measurementRemarks",
            "as written: 16.3; state of the place: reworked",
        ),
    ] {
        assert_eq!(dwc(last, property), value, "{property}");
    }
    // Numbers are numbers.
    let Term::Literal(value) = rdf.objects(last, &format!("{CRM}P90_has_value"))[0] else {
        panic!("a literal");
    };
    assert_eq!(
        value.datatype().as_str(),
        "http://www.w3.org/2001/XMLSchema#double"
    );
    // What was read otherwise, with who and when.
    let worn = sizes
        .iter()
        .find(|s| dwc(s, "measurementType") == "chamber_diameter")
        .unwrap();
    assert_eq!(dwc(worn, "measurementMethod"), "calliper");
    let measurement = prov(worn, "wasGeneratedBy");
    assert_eq!(crm(&measurement, "P39_measured"), piece);
    assert_eq!(crm(&measurement, "P40_observed_dimension"), **worn);
    assert_eq!(label(&crm(&measurement, "P14_carried_out_by")), "Mo");
    // Another part: one off, one on.
    let exchange = rdf.of_class(&format!("{CRM}E80_Part_Removal"))[0];
    assert!(
        rdf.types(exchange)
            .contains(&format!("{CRM}E79_Part_Addition"))
    );
    assert_eq!(crm(exchange, "P112_diminished"), piece);
    assert_eq!(crm(exchange, "P110_augmented"), piece);
    let (off, on) = (crm(exchange, "P113_removed"), crm(exchange, "P111_added"));
    assert_eq!(label(&off), "part taken off with the stem length 68");
    assert_eq!(label(&on), "part put on with the stem length 70");
    // The picture by its digest, and the revision that all this comes from.
    let digest = calibriar::collection::sha256_hex(b"a picture");
    let picture = rdf.labelled(
        &format!("{PROV}Entity"),
        &format!("before.png, SHA-256 {digest}"),
    );
    assert_eq!(prov(picture, "wasGeneratedBy"), works[0]);
    let disclosure = rdf.labelled(&format!("{PROV}Collection"), "disclosure of A8");
    let history = desk.run("history --from c.db").done().csv();
    let revision = label(&prov(disclosure, "wasDerivedFrom"));
    assert_eq!(
        revision,
        format!("revision 4, SHA-256 {}", history.column("sha256")[3])
    );
    assert_eq!(prov(disclosure, "hadMember"), piece);
}

/// The terms of the four vocabularies with what each property goes from and to, as they were taken
/// down from the standards.
fn vocabulary() -> HashMap<String, [String; 3]> {
    let table = super::Csv::parse(include_str!("../data/vocabulary.csv"));
    let entry = |row: usize| {
        let cells = ["kind", "domain", "range"].map(|h| table.cell(row, h).to_owned());
        (table.cell(row, "iri").to_owned(), cells)
    };
    (0..table.rows.len()).map(entry).collect()
}

/// A class and those above it, as far as properties in use ask: CIDOC CRM by the numbers of its
/// classes (version 7.1: E22 is an E24, that an E18, that an E70; E79 and E80 are E11, that and E16 are
/// E7, that an E2; all are E1), PROV-O by its names.
fn is_a(class: &str, wanted: &str) -> bool {
    let code = |iri: &str| -> String {
        let name = iri.trim_start_matches(CRM);
        let number = name.split('_').next().unwrap_or(name).to_owned();
        match iri.strip_prefix(PROV) {
            Some(name) => format!("prov:{name}"),
            None => match iri.strip_prefix(DWC) {
                Some(name) => format!("dwc:{name}"),
                None => number,
            },
        }
    };
    let mut at = code(class);
    loop {
        if at == wanted {
            return true;
        }
        at = match at.as_str() {
            "E22" => "E24",
            "E24" => "E18",
            "E18" => "E70",
            "E79" | "E80" | "E12" => "E11",
            "E11" | "E16" => "E7",
            "E7" => "E2",
            "E70" | "E2" | "E54" | "E55" | "E52" | "E39" => "E1",
            "prov:Collection" => "prov:Entity",
            "prov:SoftwareAgent" => "prov:Agent",
            _ => return false,
        }
        .to_owned();
    }
}

/// Only terms of the standards, and each between things of the classes that it is meant for.
#[test]
fn every_term_is_one_of_the_standards_and_in_its_place() {
    let desk = desk();
    let vocabulary = vocabulary();
    let mut seen = BTreeSet::new();
    let demo = demo_collection();
    let texts = [
        ("c.db", "A8"),
        ("c.db", "A1"),
        (&demo, "HR0013"),
        (&demo, "HR0512"),
    ];
    for (from, specimen) in texts {
        let rdf = Triples::of(&desk, from, specimen);
        for (subject, predicate, object) in &rdf.0 {
            if *predicate == format!("{RDF}type") {
                let Term::NamedNode(class) = object else {
                    panic!("{object}");
                };
                let known = vocabulary.get(class.as_str());
                assert_eq!(known.map(|k| k[0].as_str()), Some("class"), "{class}");
                continue;
            }
            if *predicate == format!("{RDFS}label") {
                continue;
            }
            let [kind, domain, range] = &vocabulary[predicate];
            assert_eq!(kind, "property", "{predicate}");
            seen.insert(predicate.clone());
            let fits = |node: &str, wanted: &str| {
                wanted.is_empty() || rdf.types(node).iter().any(|class| is_a(class, wanted))
            };
            assert!(
                fits(subject, domain),
                "{predicate} of {:?}",
                rdf.types(subject)
            );
            match object {
                Term::NamedNode(node) if predicate.ends_with("P39_measured") => {
                    assert!(fits(node.as_str(), "E18"), "{node}");
                }
                Term::NamedNode(node) => {
                    let types = rdf.types(node.as_str());
                    // The only class that the list of terms has no property to.
                    let unit = range == "E58" && types.iter().any(|c| c.contains("E58_"));
                    assert!(
                        unit || fits(node.as_str(), range),
                        "{predicate} to {types:?}"
                    );
                }
                _ => assert!(
                    range == "text" || range.contains("literal"),
                    "{predicate} {object}"
                ),
            }
        }
    }
    assert!(seen.len() >= 25, "{seen:?}");
}

/// The same thing has the same name in a later disclosure; things of two pieces never share one that
/// is theirs.
#[test]
fn names_last_and_are_one_thing_each() {
    let desk = desk();
    let subjects = |specimen: &str| -> BTreeSet<String> {
        let rdf = Triples::of(&desk, "c.db", specimen);
        rdf.0.iter().map(|(subject, ..)| subject.clone()).collect()
    };
    let (first, other) = (subjects("A8"), subjects("A1"));
    for name in &first {
        let unit = name.starts_with("http://qudt.org/vocab/unit/");
        let uuid = name.strip_prefix("urn:uuid:").is_some_and(is_uuid_8);
        assert!(unit || uuid, "{name}");
    }
    assert!(first.intersection(&other).all(|name| name.contains("qudt")));
    desk.run("record A8 --set bit_width=16.2 --by Jo --on 2024-06-01 --to c.db")
        .done();
    let later = subjects("A8");
    // Of the earlier names only those of the document and its revision are gone.
    assert_eq!(first.difference(&later).count(), 2);
    // A collection that came by a package is the same.
    desk.run("export p --from c.db").done();
    desk.run("add p --to copy.db").done();
    let of = |from: &str| {
        desk.run(&format!("disclose A8 --json-ld --from {from}"))
            .done()
            .out
    };
    assert_eq!(of("copy.db"), of("c.db"));
}

/// RFC 9562, 4.1, 4.2 and 5.8: the version is 8, the variant begins with the bits 10.
fn is_uuid_8(text: &str) -> bool {
    let parts: Vec<&str> = text.split('-').collect();
    let lengths: Vec<usize> = parts.iter().map(|part| part.len()).collect();
    let lower_hex = |c: char| c.is_ascii_digit() || ('a'..='f').contains(&c);
    lengths == [8, 4, 4, 4, 12]
        && parts.concat().chars().all(lower_hex)
        && parts[2].starts_with('8')
        && parts[3].starts_with(['8', '9', 'a', 'b'])
}

/// Topping the rim is recorded as a lower bowl; the chamber got less deep with it, whether or not that was said.
#[test]
fn what_usually_moves_along_is_not_called_untouched() {
    let desk = Desk::new();
    let sheet = "specimen,bowl_height_mm {factory},chamber_depth_mm,shank_width_mm,weight\n\
                 X,45.0 {factory},38.0 {factory},14.2 {factory},38.5 {factory}\n";
    desk.write("x.csv", sheet.replace("_mm {factory}", "_mm"));
    desk.run("add x.csv --to c.db").done();
    let before = desk.run("disclose X --from c.db").done().out;
    assert!(
        before.contains("4 places") && !before.contains("may have moved"),
        "{before}"
    );
    desk.run("record X --set bowl_height=44 --on 2024-05-01 --to c.db")
        .done();
    let after = desk.run("disclose X --from c.db").done().out;
    assert_eq!(
        after.matches("may have moved with bowl height").count(),
        2,
        "{after}"
    );
    assert!(
        after.contains("1 place: shank width: as it left the works"),
        "{after}"
    );
    assert!(
        after.contains("2 places: weight, chamber depth: read as it left the works"),
        "{after}"
    );
}
