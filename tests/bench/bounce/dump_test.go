// SPDX-License-Identifier: Apache-2.0
package bounce
import ("testing";"fmt";"os";"strconv")
func TestDump(t *testing.T){
 if os.Getenv("DUMP")=="" {return}
 n,_:=strconv.Atoi(os.Getenv("DUMP"))
 for si,sc:=range Scenarios{ if si==0 {continue}
 for rep:=0;rep<n;rep++{
  tr:=sc.Trace(100000,Seed+int64(si)+int64(4*rep))
  var z Score
  sure,doubt:=z.match(Ours,tr)
  found:=Ours.Find(tr)
  for i:=0;i+1<len(tr.Presses);i++{
   p:=tr.Presses[i]
   kind:=""
   if sure[i]>1 {kind="over"} else if sure[i]+doubt[i]==0 {kind="under"} else {continue}
   fmt.Printf("%s %s press %d prevFirst %.1f next +%.1f:",sc.Name,kind,i,float64(p.First-tr.Presses[max(0,i-1)].First)/1e6,float64(tr.Presses[i+1].First-p.First)/1e6)
   lvl:=false
   for _,e:=range tr.Seen { if e.At<p.First-250*ms {lvl=e.Closed;continue}; if e.At>tr.Presses[i+1].First+100*ms{break}
     if e.Closed!=lvl { lvl=e.Closed
      c:="-"; if lvl {c="+"}
      fmt.Printf(" %s%.1f",c,float64(e.At-p.First)/1e6)}}
   fmt.Println()
   for _,f:=range found { if f.Known<p.First-300*ms||f.At>tr.Presses[i+1].First+300*ms {continue}
    fmt.Printf("    at %.1f known %.1f doubt %v\n",float64(f.At-p.First)/1e6,float64(f.Known-p.First)/1e6,f.Doubt)}
  }}
 }
}
