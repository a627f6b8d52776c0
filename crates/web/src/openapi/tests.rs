//! The description is whole: everything in it has words of its own.

use serde_json::Value;

fn document() -> Value {
    serde_json::to_value(super::openapi(true)).unwrap()
}

/// Every node of a JSON value, with its pointer.
fn walk<'a>(value: &'a Value, at: String, found: &mut Vec<(String, &'a Value)>) {
    found.push((at.clone(), value));
    match value {
        Value::Object(members) => {
            for (name, member) in members {
                walk(member, format!("{at}/{name}"), found);
            }
        }
        Value::Array(elements) => {
            for (index, element) in elements.iter().enumerate() {
                walk(element, format!("{at}/{index}"), found);
            }
        }
        _ => {}
    }
}

/// Whether a schema says something by itself or refers to one that does.
fn speaks(document: &Value, schema: &Value) -> bool {
    let text = |schema: &Value| schema["description"].as_str().is_some_and(|text| text.len() > 5);
    let target = schema["$ref"].as_str().and_then(|reference| document.pointer(reference.trim_start_matches('#')));
    let in_one_of = |schema: &Value| {
        schema["oneOf"].as_array().is_some_and(|options| options.iter().any(|option| speaks(document, option)))
    };
    text(schema) || target.is_some_and(text) || in_one_of(schema)
}

#[test]
fn it_is_openapi_3_1_with_a_title_and_paths() {
    let document = document();
    assert!(document["openapi"].as_str().unwrap().starts_with("3.1."));
    assert_eq!(document["info"]["title"], "sconced");
    assert!(document["paths"].as_object().unwrap().len() >= 20);
    assert!(document["components"]["securitySchemes"]["bearer"].is_object());
    assert!(document["components"]["securitySchemes"]["cookie"].is_object());
}

#[test]
fn every_operation_has_summary_description_and_an_id_of_its_own() {
    let document = document();
    let mut ids = std::collections::BTreeSet::new();
    for (path, item) in document["paths"].as_object().unwrap() {
        for (method, operation) in item.as_object().unwrap() {
            for words in ["summary", "description", "operationId"] {
                assert!(operation[words].as_str().is_some_and(|text| text.len() > 3), "{method} {path} lacks {words}");
            }
            assert!(ids.insert(operation["operationId"].as_str().unwrap().to_owned()), "{method} {path}");
            assert!(operation["tags"].as_array().is_some_and(|tags| tags.len() == 1), "{method} {path}");
        }
    }
}

#[test]
fn every_parameter_has_a_description_and_an_example_or_words_to_choose_from() {
    let document = document();
    for (path, item) in document["paths"].as_object().unwrap() {
        for (method, operation) in item.as_object().unwrap() {
            for parameter in operation["parameters"].as_array().into_iter().flatten() {
                let name = &parameter["name"];
                assert!(parameter["description"].as_str().is_some_and(|text| text.len() > 5), "{method} {path} {name}");
                let (mut nodes, shown) = (Vec::new(), parameter.to_string());
                walk(parameter, String::new(), &mut nodes);
                let example = nodes.iter().any(|(at, _)| at.ends_with("/example"));
                assert!(example || shown.contains("$ref"), "{method} {path} {name} has no example");
            }
        }
    }
}

#[test]
fn every_property_of_every_schema_has_a_description() {
    let document = document();
    let mut seen = 0;
    for (name, schema) in document["components"]["schemas"].as_object().unwrap() {
        assert!(speaks(&document, schema), "the schema {name} says nothing");
        let mut nodes = Vec::new();
        walk(schema, String::new(), &mut nodes);
        for (at, node) in nodes.iter().filter(|(at, _)| at.ends_with("/properties")) {
            for (property, schema) in node.as_object().unwrap() {
                assert!(speaks(&document, schema), "{name}{at}/{property} says nothing");
                seen += 1;
            }
        }
    }
    assert!(seen > 80, "{seen}");
}

#[test]
fn every_error_is_a_problem() {
    let document = document();
    for (path, item) in document["paths"].as_object().unwrap() {
        for (method, operation) in item.as_object().unwrap() {
            let responses = operation["responses"].as_object().unwrap();
            for (status, response) in responses {
                assert!(
                    response["description"].as_str().is_some_and(|text| text.len() > 3),
                    "{method} {path} {status}"
                );
                if status.as_str() >= "400" {
                    let schema = &response["content"]["application/problem+json"]["schema"]["$ref"];
                    assert_eq!(schema, "#/components/schemas/Problem", "{method} {path} {status}");
                }
            }
            if path.starts_with("/v1/") {
                for status in ["400", "401", "403", "500", "503"] {
                    assert!(responses.contains_key(status), "{method} {path} lacks {status}");
                }
            }
        }
    }
}

#[test]
fn every_reference_leads_somewhere() {
    let document = document();
    let mut nodes = Vec::new();
    walk(&document, String::new(), &mut nodes);
    let mut seen = 0;
    for (at, node) in nodes.iter().filter(|(at, _)| at.ends_with("/$ref")) {
        let target = node.as_str().unwrap().trim_start_matches('#');
        assert!(document.pointer(target).is_some(), "{at} refers to {target}");
        seen += 1;
    }
    assert!(seen > 50);
}

#[test]
fn the_power_switch_is_in_the_demos_document_alone() {
    let without = serde_json::to_value(super::openapi(false)).unwrap();
    assert!(without["paths"].get("/v1/demo/power").is_none());
    assert!(document()["paths"].get("/v1/demo/power").is_some());
}
