package told_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"heeltap/graph/epcis/official"
	"heeltap/graph/told"
	"heeltap/lots"
)

// bases are documents of the shape of the standard's examples 9.6.2 to 9.6.4, with goods of our own.
var bases = map[string]string{
	"9.6.2 ObjectEvent": `{"type":"ObjectEvent","eventID":"urn:uuid:0a0b0c0d-0001-4000-8000-000000000001","eventTime":"2026-03-02T09:00:00.000Z","eventTimeZoneOffset":"+01:00","action":"OBSERVE",
		"bizStep":"receiving","disposition":"in_progress","readPoint":{"id":"urn:epc:id:sgln:0614141.00777.0"},"bizLocation":{"id":"urn:epc:id:sgln:0614141.00888.0"},
		"quantityList":[{"epcClass":"urn:epc:class:lgtin:4012345.012345.998877","quantity":200,"uom":"KGM"}],"ex:field":"kept"}`,
	"9.6.3 AggregationEvent": `{"type":"AggregationEvent","eventTime":"2026-03-02T09:00:00.000Z","eventTimeZoneOffset":"+01:00","action":"OBSERVE","parentID":"urn:epc:id:sscc:0614141.1234567890",
		"childEPCs":["urn:epc:id:sgtin:0614141.107346.2017"],"childQuantityList":[{"epcClass":"urn:epc:idpat:sgtin:4012345.098765.*","quantity":10}],"bizStep":"receiving"}`,
	"9.6.4 TransformationEvent": `{"type":"TransformationEvent","eventTime":"2026-03-02T09:00:00.000Z","eventTimeZoneOffset":"+01:00","inputEPCList":["urn:epc:id:sgtin:4012345.011122.25"],
		"outputEPCList":["urn:epc:id:sgtin:4012345.077889.25"],"bizStep":"commissioning","bizLocation":{"id":"urn:epc:id:sgln:4012345.00001.0"},"ilmd":{"ex:bestBefore":"2026-12-10"}}`,
}

type object = map[string]any

// changes are the changes to a document and its event that the table names.
var changes = map[string]func(doc, e object){
	"no eventTime": func(_, e object) { delete(e, "eventTime") }, "no tz": func(_, e object) { delete(e, "eventTimeZoneOffset") },
	"no action": func(_, e object) { delete(e, "action") }, "no schemaVersion": func(d, _ object) { delete(d, "schemaVersion") },
	"no creationDate": func(d, _ object) { delete(d, "creationDate") }, "no context": func(d, _ object) { delete(d, "@context") },
	"bad bizStep": func(_, e object) { e["bizStep"] = "brewing" }, "bizStep uri": func(_, e object) { e["bizStep"] = "https://example.org/step/brewing" },
	"bizStep urn": func(_, e object) { e["bizStep"] = "urn:epcglobal:cbv:bizstep:receiving" }, "bizStep https other": func(_, e object) { e["bizStep"] = "https://ref.gs1.org/cbv/BizStep-receiving" },
	"tz bad +2:00": func(_, e object) { e["eventTimeZoneOffset"] = "+2:00" }, "tz Z": func(_, e object) { e["eventTimeZoneOffset"] = "Z" },
	"tz +14:00": func(_, e object) { e["eventTimeZoneOffset"] = "+14:00" }, "eventTime no offset": func(_, e object) { e["eventTime"] = "2026-03-02T09:00:00" },
	"action CREATE": func(_, e object) { e["action"] = "CREATE" }, "uom lower": func(_, e object) { quantityOf(e)["uom"] = "kgm" },
	"uom HLT": func(_, e object) { quantityOf(e)["uom"] = "HLT" }, "quantity string": func(_, e object) { quantityOf(e)["quantity"] = "200" },
	"quantity neg": func(_, e object) { quantityOf(e)["quantity"] = -1 }, "readPoint string": func(_, e object) { e["readPoint"] = "urn:epc:id:sgln:0614141.00777.0" },
	"unknown field no colon": func(_, e object) { e["weather"] = "fine" }, "disposition recalled": func(_, e object) { e["disposition"] = "recalled" },
	"destroying": func(_, e object) { e["bizStep"], e["disposition"] = "destroying", "destroyed" }, "epcClass plain": func(_, e object) { quantityOf(e)["epcClass"] = "malt" },
	"no epcList/quantityList": func(_, e object) { delete(e, "quantityList") }, "ADD with ilmd": func(_, e object) { e["action"], e["ilmd"] = "ADD", object{"ex:a": "b"} },
	"OBSERVE with ilmd": func(_, e object) { e["ilmd"] = object{"ex:a": "b"} }, "epcisBody missing": func(d, _ object) { delete(d, "epcisBody") },
	"eventID missing": func(_, e object) { delete(e, "eventID") }, "eventID plain": func(_, e object) { e["eventID"] = "17" },
	"action present": func(_, e object) { e["action"] = "ADD" }, "no outputs no xform": func(_, e object) { delete(e, "outputEPCList") },
	"no outputs with transformationID": func(_, e object) {
		delete(e, "outputEPCList")
		e["transformationID"] = "urn:uuid:0a0b0c0d-0001-4000-8000-00000000000a"
	},
	"no inputs": func(_, e object) { delete(e, "inputEPCList") }, "bizLocation plain": func(_, e object) { e["bizLocation"] = object{"id": "here"} },
	"no parent OBSERVE": func(_, e object) { delete(e, "parentID") }, "no parent ADD": func(_, e object) { delete(e, "parentID"); e["action"] = "ADD" },
	"no children OBSERVE": func(_, e object) { childless(e, "OBSERVE") }, "no children ADD": func(_, e object) { childless(e, "ADD") }, "no children DELETE": func(_, e object) { childless(e, "DELETE") },
}

func quantityOf(e object) object { return e["quantityList"].([]any)[0].(object) }
func childless(e object, action string) {
	delete(e, "childEPCs")
	delete(e, "childQuantityList")
	e["action"] = action
}

// stricter are the changes that the schema takes and that are refused all the same: nobody could use what they leave.
var stricter = map[string]bool{"quantity neg": true, "no parent ADD": true, "eventTime no offset": true}

func TestMutations(t *testing.T) {
	text, err := os.ReadFile("testdata/epcis_schema_mutations.tsv")
	require.NoError(t, err)
	schema := official.Schema(t)
	n := 0
	for _, line := range strings.Split(strings.TrimSpace(string(text)), "\n") {
		c := strings.Split(line, "\t")
		if strings.HasPrefix(line, "#") || c[0] == "document" {
			continue
		}
		n++
		t.Run(c[0]+", "+c[1], func(t *testing.T) {
			doc := documentOf(bases[c[0]])
			_, err := told.Read(strings.NewReader(doc), func(*told.Event) error { return nil })
			require.NoError(t, err, "unchanged it is good")
			var d object
			require.NoError(t, json.Unmarshal([]byte(doc), &d))
			change := changes[c[1]]
			require.NotNil(t, change, "this change is not made")
			change(d, d["epcisBody"].(object)["eventList"].([]any)[0].(object))
			changed, err := json.Marshal(d)
			require.NoError(t, err)
			_, err = told.Read(bytes.NewReader(changed), func(*told.Event) error { return nil })
			require.Equal(t, c[2] == "true" && !stricter[c[1]], err == nil, "%v", err)
			if err != nil {
				require.Equal(t, lots.Invalid, lots.KindOf(err))
			}
			if schema != nil {
				x, err := jsonschema.UnmarshalJSON(bytes.NewReader(changed))
				require.NoError(t, err)
				if err := schema.Validate(x); c[1] != "eventTime no offset" { // this validator judges times more strictly
					require.Equal(t, c[2] == "true", err == nil, "%v", err)
				}
			}
		})
	}
	require.Equal(t, 40, n)
}

func documentOf(events ...string) string {
	return `{"@context":["https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld",{"ex":"https://example.org/"}],"type":"EPCISDocument","schemaVersion":"2.0",
"creationDate":"2026-03-02T10:00:00Z","epcisBody":{"eventList":[` + strings.Join(events, ",\n") + `]}}`
}

// Every official example is read; what stands in it is taken as it stands there, extensions too.
func TestOfficialExamples(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(official.Folder(t), "epcis", "examples", "*.jsonld"))
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 10)
	for _, path := range files {
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		var doc struct {
			EPCISBody struct{ EventList []json.RawMessage }
		}
		require.NoError(t, json.Unmarshal(text, &doc))
		n := 0
		_, err = told.Read(bytes.NewReader(text), func(e *told.Event) error {
			raw := doc.EPCISBody.EventList[n]
			n++
			require.JSONEq(t, string(raw), string(e.Raw))
			require.Equal(t, n, e.N)
			require.JSONEq(t, string(raw), string(text[e.Start:e.End]), "it stands there in the file")
			var m map[string]any
			require.NoError(t, json.Unmarshal(raw, &m))
			require.Equal(t, m["eventID"], e.ID)
			things := 0
			for _, f := range []string{"epcList", "childEPCs", "inputEPCList", "outputEPCList"} {
				l, _ := m[f].([]any)
				things += len(l)
			}
			require.Len(t, e.Things, things)
			amounts := 0
			for _, f := range []string{"quantityList", "childQuantityList", "outputQuantityList"} {
				l, _ := m[f].([]any)
				amounts += len(l)
			}
			require.Len(t, e.Amounts, amounts)
			require.Equal(t, m["errorDeclaration"] != nil, e.Declared)
			return nil
		})
		require.NoError(t, err, path)
		require.Len(t, doc.EPCISBody.EventList, n, path)
	}
}

// The words of the vocabulary are those of the official JSON-LD contexts of CBV 2.0: none more, none less.
func TestVocabulary(t *testing.T) {
	for name, words := range told.Vocabulary {
		text, err := os.ReadFile(filepath.Join(official.Folder(t), "epcis", "context", "cbv-context-"+name+".jsonld"))
		require.NoError(t, err)
		var doc struct {
			Context map[string]any `json:"@context"`
		}
		require.NoError(t, json.Unmarshal(text, &doc))
		var official []string
		for word, means := range doc.Context {
			if m, ok := means.(string); ok && strings.HasPrefix(m, "cbv:") {
				official = append(official, word)
			}
		}
		require.NotEmpty(t, official)
		require.ElementsMatch(t, official, words, name)
	}
}

// Both forms of an identifier name the same. Source: the pairs of URN and link in the examples 9.6.2 to 9.6.4 of EPCIS 2.0; the
// SSCC and the location numbers are worked out by the check digit rule of the GS1 General Specifications.
func TestKeys(t *testing.T) {
	for urn, link := range map[string]string{
		"urn:epc:class:lgtin:4012345.012345.998877": "https://id.gs1.org/01/04012345123456/10/998877",
		"urn:epc:class:lgtin:0614141.077777.987":    "https://id.gs1.org/01/00614141777778/10/987",
		"urn:epc:idpat:sgtin:4012345.098765.*":      "https://id.gs1.org/01/04012345987652",
		"urn:epc:idpat:sgtin:4012345.066666.*":      "https://id.gs1.org/01/04012345666663",
		"urn:epc:id:sgtin:0614141.107346.2017":      "https://id.gs1.org/01/10614141073464/21/2017",
		"urn:epc:id:sscc:0614141.1234567890":        "https://id.gs1.org/00/106141412345678908",
		"urn:epc:id:sgln:0614141.07346.1234":        "https://id.gs1.org/414/0614141073467/254/1234",
		"urn:epc:id:pgln:9520001.11111":             "https://id.gs1.org/417/9520001111112",
		"urn:epc:class:lgtin:4012345.012345.a%2Fb":  "https://id.gs1.org/01/04012345123456/10/a%2Fb",
	} {
		require.Equal(t, link, told.KeyOf(urn).Link, urn)
		require.Equal(t, told.KeyOf(link), told.KeyOf(urn))
		require.Equal(t, told.KeyOf(link), told.KeyOf(strings.Replace(link, "https://id.gs1.org", "https://brand.example/some/path", 1)+"?17=270301"))
	}
	for _, other := range []string{"urn:epc:id:sgtin:1.2", "urn:uuid:374d95fc-9457-4a51-bd6a-0bba133845a8", "https://example.org/pallet/7", "urn:epc:class:lgtin:4012345.012345", "urn:epc:id:sscc:0614141.12", "urn:epc:id:sgtin:4012345.098765.%zz"} {
		require.Equal(t, told.Key{Link: other}, told.KeyOf(other))
	}
}

// What is wrong is said with the number of the event or the place in the file, and as something to put right.
func TestBadDocuments(t *testing.T) {
	good := bases["9.6.2 ObjectEvent"]
	for text, says := range map[string]string{
		"": "it ends in the middle", "[]": "is no object", `{"type":"EPCISDocument"}`: "@context is missing", "not JSON": "this is no JSON",
		documentOf(good)[:len(documentOf(good))-60]:                                                      "it ends in the middle",
		documentOf(good, good, strings.Replace(good, "KGM", "kg", 1)):                                    "event 3 (urn:uuid:0a0b0c0d-0001-4000-8000-000000000001): quantityList 1: uom",
		documentOf(good, "7"):                                                                            "event 2: is no object",
		documentOf(good, "null"):                                                                         "event 2: is no object",
		documentOf(good) + "{}":                                                                          "something stands behind its end",
		strings.Replace(documentOf(good), "EPCISDocument", "EPCISQueryDocument", 1):                      "only an EPCISDocument is read",
		strings.Replace(documentOf(good), `"eventList":[`, `"eventList":[],"eventList":[`, 1):            "stands there twice",
		documentOf(strings.Replace(good, `"kept"`, `"`+strings.Repeat("x", told.LargestEvent+1)+`"`, 1)): "more than 16 MB",
	} {
		_, err := told.Read(strings.NewReader(text), func(*told.Event) error { return nil })
		require.ErrorContains(t, err, says)
		require.Equal(t, lots.Invalid, lots.KindOf(err), "%v", err)
	}
}

func FuzzRead(f *testing.F) {
	for _, b := range bases {
		f.Add(documentOf(b))
		f.Add(documentOf(strings.Replace(b, `"eventTime`, `"errorDeclaration":{"declarationTime":"2026-03-03T00:00:00Z","reason":"did_not_occur"},"eventTime`, 1)))
	}
	f.Add(documentOf(`{"type":"ex:Odd","eventTime":"2026-03-02T09:00:00Z","eventTimeZoneOffset":"+01:00","sourceList":[{"type":"location","source":"urn:epc:id:sgln:1.2.0"}]}`))
	f.Fuzz(func(t *testing.T, text string) {
		n := 0
		_, err := told.Read(strings.NewReader(text), func(e *told.Event) error {
			n++
			again, err := told.ParseEvent(e.Raw)
			if err != nil || again.ID != e.ID || again.Sum() != e.Sum() {
				return fmt.Errorf("read again it says something else: %v", err)
			}
			for _, id := range append(append(e.Things, e.From...), e.To...) {
				if k := told.KeyOf(id); told.KeyOf(k.Link).Link != k.Link {
					return fmt.Errorf("%s is %s, and that is %s", id, k.Link, told.KeyOf(k.Link).Link)
				}
			}
			return nil
		})
		if err != nil && lots.KindOf(err) != lots.Invalid {
			t.Fatalf("%v", err)
		}
	})
}
