//! A dossier as linked data: JSON-LD 1.1 in the words of PROV-O, CIDOC CRM and Darwin Core.
//!
//! Which word stands for what is told in `docs/formats.md`. Everything is named by a UUID (version 8,
//! RFC 9562, 5.8) made of the SHA-256 of the collection's first digest and what it is: the same thing has
//! the same name in every later disclosure, and no text of a user can break an IRI.

use serde_json::{Map, Value, json};

use crate::catalogue::State;
use crate::collection::{Dossier, WorkDone, WorkReading, sha256_hex};

/// A dossier as a JSON-LD document that needs nothing from elsewhere.
pub fn json_ld(dossier: &Dossier, version: &str) -> Value {
    let mut graph = Graph {
        dossier,
        nodes: Vec::new(),
    };
    let piece = graph.piece();
    graph.disclosure(&piece, version);
    for reading in &dossier.readings {
        let number = reading.number;
        graph.measured(
            &piece,
            &Measured {
                dimension: &reading.dimension,
                label: &reading.label,
                unit: &reading.unit,
                number,
                text: &reading.text,
                value: reading.value,
                uncertainty: reading.uncertainty,
                state: reading.state,
                instrument: &reading.instrument,
                by: &reading.measured_by,
                on: &reading.measured_on,
                withdrawn: false,
            },
        );
    }
    for work in &dossier.works {
        graph.work(&piece, work);
    }
    json!({ "@context": context(), "@graph": graph.nodes })
}

fn context() -> Value {
    json!({
        "@version": 1.1,
        "crm": "http://www.cidoc-crm.org/cidoc-crm/",
        "dwc": "http://rs.tdwg.org/dwc/terms/",
        "prov": "http://www.w3.org/ns/prov#",
        "rdfs": "http://www.w3.org/2000/01/rdf-schema#",
        "unit": "http://qudt.org/vocab/unit/",
        "xsd": "http://www.w3.org/2001/XMLSchema#",
    })
}

/// The unit of a dimension as QUDT and UCUM name it; a coordinate of a colour has none.
fn unit_names(unit: &str) -> Option<(&'static str, &'static str)> {
    match unit {
        "mm" => Some(("unit:MilliM", "mm")),
        "g" => Some(("unit:GM", "g")),
        "deg" => Some(("unit:DEG", "deg")),
        _ => None,
    }
}

/// A reading, whoever keeps it.
struct Measured<'a> {
    dimension: &'a str,
    label: &'a str,
    unit: &'a str,
    number: i64,
    text: &'a str,
    value: f64,
    uncertainty: f64,
    state: State,
    instrument: &'a str,
    by: &'a str,
    on: &'a str,
    withdrawn: bool,
}

impl<'a> Measured<'a> {
    /// A reading that a work starts from or leaves.
    fn of_work(work: &'a WorkDone, reading: &'a WorkReading) -> Measured<'a> {
        Measured {
            dimension: &work.dimension,
            label: &work.label,
            unit: &work.unit,
            number: reading.number,
            text: &reading.text,
            value: reading.value,
            uncertainty: reading.uncertainty,
            state: reading.state,
            instrument: "",
            by: "",
            on: "",
            withdrawn: reading.withdrawn,
        }
    }
}

struct Graph<'d> {
    dossier: &'d Dossier,
    nodes: Vec<Value>,
}

impl Graph<'_> {
    /// The name of a thing of this piece.
    fn name(&self, what: &[&str]) -> String {
        let mut path = vec![self.dossier.first_sha256.as_str(), &self.dossier.specimen];
        path.extend(what);
        // As JSON no two paths are one text.
        let digest = sha256_hex(json!(path).to_string().as_bytes());
        let variant = match digest.as_bytes().get(16) {
            Some(b'0' | b'4' | b'8' | b'c') => '8',
            Some(b'1' | b'5' | b'9' | b'd') => '9',
            Some(b'2' | b'6' | b'a' | b'e') => 'a',
            _ => 'b',
        };
        format!(
            "urn:uuid:{}-{}-8{}-{variant}{}-{}",
            &digest[..8],
            &digest[8..12],
            &digest[13..16],
            &digest[17..20],
            &digest[20..32]
        )
    }

    /// Adds a node, but for one that is there already, and gives its name.
    fn add(&mut self, id: String, types: &[&str], label: &str, more: Value) -> Value {
        let reference = json!({ "@id": id });
        if self
            .nodes
            .iter()
            .any(|node| node["@id"] == reference["@id"])
        {
            return reference;
        }
        let mut node = Map::new();
        node.insert("@id".to_owned(), json!(id));
        node.insert("@type".to_owned(), json!(types));
        if !label.is_empty() {
            node.insert("rdfs:label".to_owned(), json!(label));
        }
        if let Value::Object(more) = more {
            // What was not said is no property.
            node.extend(more.into_iter().filter(|(_, value)| !value.is_null()));
        }
        self.nodes.push(Value::Object(node));
        reference
    }

    /// Somebody; nobody where no name is given.
    fn actor(&mut self, role: &str, name: &str) -> Value {
        match name.trim() {
            "" => Value::Null,
            name => {
                // Whoever restores a piece may bear its maker's name.
                let id = self.name(&[role, name]);
                self.add(id, &["crm:E39_Actor", "prov:Agent"], name, Value::Null)
            }
        }
    }

    /// A time as it was written; none where it was not.
    fn time(&mut self, text: &str) -> Value {
        match text.trim() {
            "" => Value::Null,
            text => {
                let id = self.name(&["time", text]);
                self.add(id, &["crm:E52_Time-Span"], text, Value::Null)
            }
        }
    }

    fn kind(&mut self, what: &str, name: &str) -> Value {
        match name.trim() {
            "" => Value::Null,
            name => {
                let id = self.name(&["type", what, name]);
                self.add(id, &["crm:E55_Type"], name, Value::Null)
            }
        }
    }

    /// The piece, and what is said of its making.
    fn piece(&mut self) -> Value {
        let of = self.dossier;
        let types = [
            self.kind("pattern", &of.pattern),
            self.kind("finish", &of.finish),
        ];
        let types: Vec<Value> = types.into_iter().filter(|t| !t.is_null()).collect();
        let more = json!({
            "crm:P2_has_type": (!types.is_empty()).then_some(types),
        });
        let id = self.name(&["piece"]);
        let classes = ["crm:E22_Human-Made_Object", "prov:Entity"];
        let piece = self.add(id, &classes, &of.specimen, more);
        let maker = self.actor("maker", &of.maker);
        let made = match of.made.is_empty() {
            true => &of.period,
            false => &of.made,
        };
        let time = self.time(made);
        if !(maker.is_null() && time.is_null()) {
            let more = json!({
                "crm:P108_has_produced": piece,
                "crm:P14_carried_out_by": maker,
                "crm:P4_has_time-span": time,
            });
            let id = self.name(&["production"]);
            let filed = "as it is filed; the measurements do not prove it";
            self.add(id, &["crm:E12_Production"], filed, more);
        }
        piece
    }

    /// This document, and the revision that it comes from.
    fn disclosure(&mut self, piece: &Value, version: &str) {
        let revision = &self.dossier.revision;
        let label = format!("revision {}, SHA-256 {}", revision.id, revision.sha256);
        let id = self.name(&["revision", &revision.sha256]);
        let source = self.add(id, &["prov:Entity"], &label, Value::Null);
        let program = format!("calibriar {version}");
        let id = self.name(&["program", &program]);
        let program = self.add(
            id,
            &["prov:SoftwareAgent", "prov:Agent"],
            &program,
            Value::Null,
        );
        let id = self.name(&["disclosure", &revision.sha256]);
        let label = format!("disclosure of {}", self.dossier.specimen);
        let more = json!({
            "prov:hadMember": piece,
            "prov:wasDerivedFrom": source,
            "prov:wasAttributedTo": program,
        });
        self.add(id, &["prov:Collection", "prov:Entity"], &label, more);
    }

    /// A size of the piece without the measurement that found it; gives its name.
    fn size(&mut self, of: &Measured<'_>, more: &[(&str, Value)]) -> Value {
        let kind = self.kind("dimension", of.label);
        let names = unit_names(of.unit);
        if let Some((unit, _)) = names {
            let class = ["crm:E58_Measurement_Unit"];
            self.add(unit.to_owned(), &class, "", Value::Null);
        }
        let said = |text: &str| (!text.is_empty()).then(|| text.to_owned());
        let mut remarks = format!("as written: {}; state of the place: {}", of.text, of.state);
        if of.withdrawn {
            remarks.push_str("; withdrawn since");
        }
        let mut properties = json!({
            "crm:P2_has_type": kind,
            "crm:P90_has_value": { "@value": of.value.to_string(), "@type": "xsd:double" },
            "crm:P91_has_unit": names.map(|(unit, _)| json!({ "@id": unit })),
            "dwc:measurementType": of.dimension,
            "dwc:measurementValue": of.value.to_string(),
            "dwc:measurementUnit": names.map(|(_, code)| code),
            "dwc:measurementAccuracy": format!("standard uncertainty {}", of.uncertainty),
            "dwc:measurementMethod": said(of.instrument),
            "dwc:measurementDeterminedBy": said(of.by),
            "dwc:measurementDeterminedDate": said(of.on),
            "dwc:measurementRemarks": remarks,
        });
        for (property, value) in more {
            properties[*property] = value.clone();
        }
        let id = self.name(&["size", of.dimension, &of.number.to_string()]);
        let classes = ["crm:E54_Dimension", "dwc:MeasurementOrFact", "prov:Entity"];
        self.add(id, &classes, "", properties)
    }

    /// A size of the piece with the measurement that found it.
    fn measured(&mut self, piece: &Value, of: &Measured<'_>) -> Value {
        let number = of.number.to_string();
        let id = self.name(&["measurement", of.dimension, &number]);
        let by = self.actor("person", of.by);
        let time = self.time(of.on);
        // A reading as found ceased to hold with the first work that started from it.
        let ended = self.ended(of);
        let generated = ("prov:wasGeneratedBy", json!({ "@id": id }));
        let size = self.size(of, &[generated, ("prov:wasInvalidatedBy", ended)]);
        let more = json!({
            "crm:P39_measured": piece,
            "crm:P40_observed_dimension": size,
            "crm:P14_carried_out_by": by,
            "prov:wasAssociatedWith": by,
            "crm:P4_has_time-span": time,
        });
        self.add(id, &["crm:E16_Measurement", "prov:Activity"], "", more);
        size
    }

    fn work_name(&self, work: &WorkDone) -> String {
        let number = work.left.number.to_string();
        self.name(&["work", &work.dimension, &number])
    }

    /// The work that ended a size, if any did.
    fn ended(&self, of: &Measured<'_>) -> Value {
        let ends =
            |work: &&WorkDone| work.dimension == of.dimension && work.found.number == of.number;
        match self.dossier.works.iter().find(ends) {
            Some(work) => json!({ "@id": self.work_name(work) }),
            None => Value::Null,
        }
    }

    fn work(&mut self, piece: &Value, work: &WorkDone) {
        let id = self.work_name(work);
        let activity = json!({ "@id": id });
        // Each size is there once: a reading of the collection, or what an earlier work left.
        let found = self.measured_or_known(piece, work);
        let left = Measured {
            by: &work.done_by,
            on: &work.done_on,
            ..Measured::of_work(work, &work.left)
        };
        let ended = self.ended(&left);
        self.size(
            &left,
            &[
                ("prov:wasGeneratedBy", activity.clone()),
                ("prov:wasDerivedFrom", found.clone()),
                ("prov:wasInvalidatedBy", ended),
            ],
        );
        let by = self.actor("person", &work.done_by);
        let time = self.time(&work.done_on);
        let tool = match work.tool.is_empty() {
            true => Value::Null,
            false => {
                let id = self.name(&["tool", &work.tool]);
                let class = ["crm:E22_Human-Made_Object"];
                self.add(id, &class, &work.tool, Value::Null)
            }
        };
        let mut label = format!(
            "{}: {} ({}) -> {} ({})",
            work.label, work.found.text, work.found.state, work.left.text, work.left.state
        );
        if !work.why.is_empty() {
            label.push_str(&format!("; why: {}", work.why));
        }
        let mut more = json!({
            "crm:P14_carried_out_by": by,
            "prov:wasAssociatedWith": by,
            "crm:P4_has_time-span": time,
            "crm:P16_used_specific_object": tool,
            "prov:used": found,
        });
        let another_part =
            work.left.state == State::Replaced && work.found.state != State::Replaced;
        let mut classes = vec!["prov:Activity"];
        if another_part {
            // One act that takes a part off and puts another on.
            classes.extend(["crm:E80_Part_Removal", "crm:E79_Part_Addition"]);
            let number = work.left.number.to_string();
            let mut part = |which: &str, size: &WorkReading| {
                let id = self.name(&[which, &work.dimension, &number]);
                let label = format!("{which} with the {} {}", work.label, size.text);
                self.add(id, &["crm:E22_Human-Made_Object"], &label, Value::Null)
            };
            more["crm:P113_removed"] = part("part taken off", &work.found);
            more["crm:P111_added"] = part("part put on", &work.left);
            more["crm:P112_diminished"] = piece.clone();
            more["crm:P110_augmented"] = piece.clone();
        } else {
            classes.push("crm:E11_Modification");
            more["crm:P31_has_modified"] = piece.clone();
        }
        self.add(id, &classes, &label, more);
        for picture in &work.pictures {
            let id = self.name(&[
                "picture",
                &work.dimension,
                &work.left.number.to_string(),
                &picture.sha256,
            ]);
            let label = format!("{}, SHA-256 {}", picture.name, picture.sha256);
            let more = json!({ "prov:wasGeneratedBy": activity });
            self.add(id, &["prov:Entity"], &label, more);
        }
    }

    /// The size that a work starts from. One that was withdrawn since is in no list of readings.
    fn measured_or_known(&mut self, piece: &Value, work: &WorkDone) -> Value {
        let id = self.name(&["size", &work.dimension, &work.found.number.to_string()]);
        let known = self.nodes.iter().any(|node| node["@id"] == json!(id));
        match known {
            true => json!({ "@id": id }),
            false => self.measured(piece, &Measured::of_work(work, &work.found)),
        }
    }
}
